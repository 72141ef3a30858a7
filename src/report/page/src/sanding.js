// What a flat block run along the face would touch, and how much comes off until no pencil mark is left.
import {scaleLinear} from 'd3-scale';
import {area, line} from 'd3-shape';
import {page} from './data.js';
import {element, replace, table_behind} from './dom.js';
import {length_unit, station, station_number, to_unit} from './words.js';

function draw_for({block_length_mm, stations, sentences}, width) {
  const height = 180, left = 62, right = 10, bottom = 34;
  const x = scaleLinear([stations[0][0], stations[stations.length - 1][0]], [left, width - right]);
  const high = Math.max(0.1, ...stations.map((s) => Math.max(s[1], s[2])));
  const y = scaleLinear([0, to_unit(high * 1.1)], [height - bottom, 10]);
  const svg = element('svg', {viewBox: `0 0 ${width} ${height}`, class: 'curve', role: 'img', 'aria-label': `Depth of pencil marks left under a block of ${station(block_length_mm)}, and wood to take off until none are left.`});
  svg.append(element('path', {d: area((s) => x(s[0]), () => y(0), (s) => y(to_unit(s[1])))(stations), class: 'pencil'}));
  svg.append(element('path', {d: line((s) => x(s[0]), (s) => y(to_unit(s[2])))(stations), class: 'value'}));
  for (const tick of y.ticks(3)) {
    svg.append(element('line', {x1: left - 5, x2: left, y1: y(tick), y2: y(tick), class: 'tick'}));
    svg.append(element('text', {x: left - 8, y: y(tick) + 5, 'text-anchor': 'end', 'font-size': 14, class: 'tick-label'}, String(tick)));
  }
  for (const tick of x.ticks(Math.max(2, Math.floor(width / 110)))) {
    svg.append(element('line', {x1: x(tick), x2: x(tick), y1: height - bottom, y2: height - bottom + 6, class: 'tick'}));
    svg.append(element('text', {x: Math.min(x(tick), width - 16), y: height - 10, 'text-anchor': 'middle', 'font-size': 14, class: 'tick-label'}, station_number(tick)));
  }
  svg.append(element('rect', {x: left, y: 10, width: width - left - right, height: height - bottom - 10, class: 'frame'}));
  return [
    element('ul', {class: 'plain-list'}, sentences.map((s) => element('li', {}, s))),
    element('figure', {class: 'curve-box'}, element('figcaption', {}, element('span', {class: 'key-pencil', 'aria-hidden': 'true'}), ' deepest pencil mark the block cannot reach \u00a0 ', element('span', {class: 'key-line', 'aria-hidden': 'true'}), ' most wood to take off there until no mark stays'), svg,
      table_behind('Sanding as a table', ['Station', 'Deepest mark', 'To take off'], () => stations.map((s) => [station(s[0]), length_unit(s[1]), length_unit(s[2])]))),
  ];
}

export function draw_sanding(width) {
  const holder = element('div', {});
  const own = Math.max(0, page.sanding.findIndex((s) => s.own));
  const choice = element('select', {id: 'block-length', onchange: () => replace(holder, draw_for(page.sanding[Number(choice.value)], width))},
    page.sanding.map((s, i) => element('option', {value: i, selected: i === own}, station(s.block_length_mm))));
  replace(holder, draw_for(page.sanding[own], width));
  return [element('p', {class: 'choice'}, element('label', {for: 'block-length'}, 'Length of your block: '), choice), holder];
}
