// The rim in plan, to scale, with the stretches of the findings and the picked station.
import {page, results} from './data.js';
import {element} from './dom.js';
import {on_select, select, selected} from './selection.js';
import {station, station_number} from './words.js';

export function rim_at(station_mm) {
  const rim = page.rim;
  if (!rim.length) return null;
  let i = 1;
  while (i + 1 < rim.length && rim[i][2] < station_mm) ++i;
  if (rim.length < 2) return rim[0];
  const a = rim[i - 1], b = rim[i], t = Math.max(0, Math.min(1, (station_mm - a[2]) / (b[2] - a[2] || 1)));
  return [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1]), station_mm, b[0] - a[0], b[1] - a[1]];
}

export function draw_rim(jobs, {interactive = true, width: drawn_px = 900} = {}) {
  const rim = page.rim;
  if (rim.length < 2) return element('p', {}, 'The scan shows too little of the rim to draw it in plan.');
  const xs = rim.map((p) => p[0]), ys = rim.map((p) => p[1]);
  const [x0, x1, y0, y1] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  const span = Math.max(x1 - x0, y1 - y0, 60);
  const pad = span * 0.14;
  const width = Math.max(x1 - x0, span * 0.3) + 2 * pad, height = Math.max(y1 - y0, span * 0.12) + 2 * pad;
  const left = (x0 + x1) / 2 - width / 2, top = (y0 + y1) / 2 + height / 2;
  const X = (x) => x - left, Y = (y) => top - y;
  // Letters of 15 px on any screen; everything else follows from them.
  const letter = Math.min(span * 0.07, (drawn_px < 500 ? 12 : 15) * width / Math.max(drawn_px - 30, 200));
  const middle = [(x0 + x1) / 2, (y0 + y1) / 2];
  // Square to the rim, away from the middle of the body.
  const outward = (p) => {
    const l = Math.hypot(p[3], p[4]) || 1;
    let n = [p[4] / l, -p[3] / l];
    if (n[0] * (p[0] - middle[0]) + n[1] * (p[1] - middle[1]) < 0) n = [-n[0], -n[1]];
    return n;
  };
  const path = (points) => 'M' + points.map((p) => `${X(p[0]).toFixed(2)} ${Y(p[1]).toFixed(2)}`).join('L');
  const stretch = (from, to) => [rim_at(from), ...rim.filter((p) => p[2] > from && p[2] < to), rim_at(to)];

  const svg = element('svg', {viewBox: `0 0 ${width.toFixed(1)} ${height.toFixed(1)}`, role: 'img', class: 'rim',
    'aria-label': `The rim in plan, ${station(results.scan.rim_length_mm)} long, with ${jobs.length} marked stretches.`});
  svg.append(element('path', {d: path(rim), class: 'rim-line', 'stroke-width': letter * 0.22}));
  // What runs where: a thin line inside the rim for each feature; the client needs none.
  const names = interactive ? [...new Set(page.extents.map((e) => e.name))] : [];
  for (const extent of interactive ? page.extents : []) {
    const inset = letter * (0.75 + 0.45 * names.indexOf(extent.name));
    const points = stretch(extent.from_mm, extent.to_mm).map((p) => {
      const n = outward(p[3] === undefined ? rim_at(p[2]) : p);
      return [p[0] - n[0] * inset, p[1] - n[1] * inset];
    });
    svg.append(element('path', {d: path(points), class: `extent extent-${names.indexOf(extent.name) % 4}`, 'stroke-width': letter * 0.22}, element('title', {}, extent.name)));
  }
  for (const job of jobs) {
    for (const part of job.places) {
      svg.append(element('path', {d: path(stretch(part.from_mm, Math.max(part.to_mm, part.from_mm + 2))), class: `rim-stretch ${job.verdict}`, 'stroke-width': letter * 0.62,
        'stroke-dasharray': job.verdict === 'undecided' ? `${letter * 0.5} ${letter * 0.4}` : null}));
    }
  }
  const last = rim[rim.length - 1][2], first = rim[0][2];
  const every = [50, 100, 200].find((e) => e > 3.2 * letter) ?? 200;
  const tick_inset = 1.9 + 0.45 * names.length;
  for (let s = Math.ceil(first / every) * every; s <= last; s += every) {
    const p = rim_at(s), n = outward(p);
    svg.append(element('line', {x1: X(p[0]), y1: Y(p[1]), x2: X(p[0] - n[0] * letter * 0.5), y2: Y(p[1] - n[1] * letter * 0.5), class: 'tick', 'stroke-width': letter * 0.1}));
    svg.append(element('text', {x: X(p[0] - n[0] * letter * tick_inset), y: Y(p[1] - n[1] * letter * (tick_inset - 0.2)) + letter * 0.3, 'font-size': letter, 'text-anchor': 'middle', class: 'tick-label'}, station_number(s)));
  }
  const taken = [], discs = [];
  for (const job of jobs) {
    const p = rim_at((job.places[0].from_mm + job.places[0].to_mm) / 2), n = outward(p);
    let reach = letter * 1.7;
    const at = () => [X(p[0] + n[0] * reach), Y(p[1] + n[1] * reach)];
    while (taken.some((q) => Math.hypot(q[0] - at()[0], q[1] - at()[1]) < letter * 1.9) && reach < letter * 8) reach += letter * 0.5;
    const [x, y] = at();
    taken.push([x, y]);
    svg.append(element('line', {x1: X(p[0]), y1: Y(p[1]), x2: x, y2: y, class: 'leader', 'stroke-width': letter * 0.08}));
    discs.push(element('circle', {cx: x, cy: y, r: letter * 0.85, class: `badge-disc ${job.verdict}`, 'stroke-width': letter * 0.12}));
    discs.push(element('text', {x, y: y + letter * 0.36, 'font-size': letter, 'text-anchor': 'middle', class: `badge-number ${job.verdict}`}, job.number));
  }
  svg.append(...discs);
  svg.append(element('line', {x1: pad * 0.4, x2: pad * 0.4 + 50, y1: height - letter * 0.9, y2: height - letter * 0.9, class: 'tick', 'stroke-width': letter * 0.14}));
  svg.append(element('text', {x: pad * 0.4 + 50 + letter * 0.4, y: height - letter * 0.6, 'font-size': letter, class: 'tick-label'}, station(50)));
  if (interactive) {
    const here = element('circle', {r: letter * 0.55, class: 'here', 'stroke-width': letter * 0.2});
    svg.append(here);
    const show = (s) => {
      const p = rim_at(s);
      here.setAttribute('cx', X(p[0]));
      here.setAttribute('cy', Y(p[1]));
    };
    show(selected());
    on_select(show);
    svg.addEventListener('click', (event) => {
      const p = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
      let best = rim[0], distance = Infinity;
      for (const q of rim) {
        const d = Math.hypot(X(q[0]) - p.x, Y(q[1]) - p.y);
        if (d < distance) [best, distance] = [q, d];
      }
      select(best[2]);
    });
  }
  if (!names.length) return svg;
  return [svg, element('p', {class: 'key'}, names.map((name, i) => element('span', {}, element('span', {class: `swatch extent-${i % 4}`, 'aria-hidden': 'true'}), name)))];
}
