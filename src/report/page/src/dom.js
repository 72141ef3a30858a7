// Elements are made from data only through these: text stays text, attributes are set one by one.
const svg_names = new Set(['svg', 'g', 'path', 'line', 'rect', 'circle', 'text', 'polyline', 'polygon', 'title', 'desc', 'clipPath', 'defs',
  'pattern', 'image', 'tspan']);

function append(node, children) {
  for (const child of children.flat(Infinity)) {
    if (child === null || child === undefined || child === false) continue;
    node.append(child instanceof Node ? child : document.createTextNode(String(child)));
  }
  return node;
}

export function element(name, attributes = {}, ...children) {
  const node = svg_names.has(name) ? document.createElementNS('http://www.w3.org/2000/svg', name) : document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith('on')) node.addEventListener(key.slice(2), value);
    else node.setAttribute(key, value === true ? '' : String(value));
  }
  return append(node, children);
}

export const replace = (node, ...children) => {
  node.replaceChildren();
  return append(node, children);
};

// A table for what a chart shows, folded away and made when first unfolded. `rows` is a function.
export function table_behind(summary, head, rows) {
  const details = element('details', {class: 'behind'}, element('summary', {}, summary));
  details.addEventListener('toggle', () => {
    if (details.children.length > 1) return;
    details.append(element('div', {class: 'scroll', tabindex: '0', role: 'region', 'aria-label': summary},
      element('table', {},
        element('thead', {}, element('tr', {}, head.map((h) => element('th', {scope: 'col'}, h)))),
        element('tbody', {}, rows().map((row) => element('tr', {}, row.map((cell, i) => element(i === 0 ? 'th' : 'td', i === 0 ? {scope: 'row'} : {}, cell))))))));
  });
  return details;
}
