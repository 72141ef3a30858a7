// A quantity along the rim: the line, its U95 band, the tolerance, and the picked station.
import {scaleLinear} from 'd3-scale';
import {area, line} from 'd3-shape';
import {page, verdict_of} from './data.js';
import {element, table_behind} from './dom.js';
import {on_select, select, selected} from './selection.js';
import {plain, station, station_number, unit_of, value_in, with_uncertainty} from './words.js';

const gap_mm = 6;

function runs(points) {
  const all = [];
  for (const p of points) {
    const run = all[all.length - 1];
    if (run && p.s - run[run.length - 1].s <= gap_mm) run.push(p);
    else all.push([p]);
  }
  return all;
}

const titles = {angle: 'Angle', drop: 'Drop', 'top reach': 'Top reach', straightness: 'Straightness across', 'top left': 'Block left along the top', 'side left': 'Block left down the side'};
export const title_of = (series) => titles[series.quantity] ?? `${series.feature}: ${series.quantity}`;

function limits_in_words(series) {
  const {lower, upper, unit} = series;
  if (lower !== null && upper !== null) return `allowed ${value_in(lower, unit)} to ${value_in(upper, unit)}`;
  if (upper !== null) return `at most ${value_in(upper, unit)}`;
  return lower !== null ? `at least ${value_in(lower, unit)}` : 'no limit in the plan';
}

export function draw_curve(series, {width = 900} = {}) {
  const {points, lower, upper, unit} = series;
  const margin = {left: 62, right: 10, top: 10, bottom: 34}, height = 210;
  const s0 = points[0].s, s1 = Math.max(points[points.length - 1].s, s0 + 10);
  // The limits set the scale; far-out values (a run-out's drop) may leave it at the bottom.
  const inside = points.flatMap((p) => [p.v - p.u, p.v + p.u]);
  let low = Math.min(...inside), high = Math.max(...inside);
  for (const limit of [lower, upper]) if (limit !== null) [low, high] = [Math.min(low, limit), Math.max(high, limit)];
  const tolerance = lower !== null && upper !== null ? upper - lower : Math.abs(upper ?? lower ?? high) || 1;
  if (lower !== null) low = Math.max(low, lower - 4 * tolerance);
  if (upper !== null) high = Math.min(high, Math.max(upper + 4 * tolerance, upper * 1.5));
  const pad = (high - low || 1) * 0.08;
  const x = scaleLinear([s0, s1], [margin.left, width - margin.right]);
  const y = scaleLinear([plain(low - pad, unit), plain(high + pad, unit)], [height - margin.bottom, margin.top]);
  const Y = (v) => y(plain(v, unit));
  const clip = `curve-${Math.random().toString(36).slice(2)}`;

  // The least drop is asked for only where the bevel is at its fullest.
  const lower_at = (p) => (series.quantity !== 'drop' || (p.s >= page.fullest_mm[0] && p.s <= page.fullest_mm[1]) ? lower : null);
  const verdict_at = (p) => verdict_of(p.v, p.u, lower_at(p), upper);
  const ranks = {pass: 0, undecided: 1, fail: 2};
  const worst = points.reduce((a, p) => Math.max(a, ranks[verdict_at(p)]), 0);
  const svg = element('svg', {viewBox: `0 0 ${width} ${height}`, class: 'curve', role: 'img',
    'aria-label': `${title_of(series)} along the rim, ${limits_in_words(series)}; from ${value_in(Math.min(...points.map((p) => p.v)), unit)} to ${value_in(Math.max(...points.map((p) => p.v)), unit)}.`});
  svg.append(element('defs', {}, element('clipPath', {id: clip}, element('rect', {x: margin.left, y: margin.top, width: width - margin.left - margin.right, height: height - margin.top - margin.bottom}))));
  const plot = element('g', {'clip-path': `url(#${clip})`});
  svg.append(plot);
  const top = upper === null ? margin.top : Math.max(margin.top, Y(upper));
  const bottom = lower === null ? height - margin.bottom : Math.min(height - margin.bottom, Y(lower));
  if (lower !== null || upper !== null) plot.append(element('rect', {x: margin.left, y: top, width: width - margin.left - margin.right, height: Math.max(0, bottom - top), class: 'tolerance'}));
  for (const limit of [lower, upper]) {
    if (limit !== null) plot.append(element('line', {x1: margin.left, x2: width - margin.right, y1: Y(limit), y2: Y(limit), class: 'limit'}));
  }
  const band = area((p) => x(p.s), (p) => Y(p.v - p.u), (p) => Y(p.v + p.u));
  const path = line((p) => x(p.s), (p) => Y(p.v));
  for (const run of runs(points)) {
    plot.append(element('path', {d: band(run), class: 'u95'}));
    if (run.length > 1) plot.append(element('path', {d: path(run), class: 'value'}));
    else plot.append(element('circle', {cx: x(run[0].s), cy: Y(run[0].v), r: 2.5, class: 'dot'}));
  }
  // Where the whole interval lies outside: the line is marked with crosses, not only colour.
  let last_cross = -Infinity;
  for (const p of points) {
    if (verdict_at(p) !== 'fail' || x(p.s) - last_cross < 12) continue;
    last_cross = x(p.s);
    plot.append(element('path', {d: `M${x(p.s) - 4} ${Y(p.v) - 4}l8 8m0 -8l-8 8`, class: 'cross'}));
  }
  const digits = Math.max(0, Math.min(3, 1 - Math.floor(Math.log10((y.domain()[1] - y.domain()[0]) / 4))));
  for (const tick of y.ticks(4)) {
    svg.append(element('line', {x1: margin.left - 5, x2: margin.left, y1: y(tick), y2: y(tick), class: 'tick'}));
    svg.append(element('text', {x: margin.left - 8, y: y(tick) + 5, 'text-anchor': 'end', 'font-size': 14, class: 'tick-label'}, tick.toFixed(digits).replace('-', '\u2212')));
  }
  const count = Math.max(2, Math.floor(width / 110));
  for (const tick of x.ticks(count)) {
    svg.append(element('line', {x1: x(tick), x2: x(tick), y1: height - margin.bottom, y2: height - margin.bottom + 6, class: 'tick'}));
    svg.append(element('text', {x: Math.min(x(tick), width - 16), y: height - margin.bottom + 24, 'text-anchor': 'middle', 'font-size': 14, class: 'tick-label'}, station_number(tick)));
  }
  svg.append(element('rect', {x: margin.left, y: margin.top, width: width - margin.left - margin.right, height: height - margin.top - margin.bottom, class: 'frame'}));
  const cursor = element('line', {y1: margin.top, y2: height - margin.bottom, class: 'cursor'});
  svg.append(cursor);
  const reading = element('span', {class: 'reading'});
  const show = (s) => {
    const inside_range = s >= s0 - 1 && s <= s1 + 1;
    cursor.setAttribute('visibility', inside_range ? 'visible' : 'hidden');
    cursor.setAttribute('x1', x(s));
    cursor.setAttribute('x2', x(s));
    const near = points.reduce((a, p) => (Math.abs(p.s - s) < Math.abs(a.s - s) ? p : a), points[0]);
    reading.textContent = Math.abs(near.s - s) <= 4 ? `${with_uncertainty(near.v, near.u, unit)} at ${station(near.s)}` : `not measured at ${station(s)}`;
  };
  show(selected());
  on_select(show);
  svg.addEventListener('click', (event) => {
    const box = svg.getBoundingClientRect();
    const s = x.invert((event.clientX - box.left) / box.width * width);
    if (s >= s0 && s <= s1) select(s);
  });
  const word = ['pass', 'undecided', 'fail'][worst];
  return element('figure', {class: 'curve-box', 'data-worst': lower === null && upper === null ? 'none' : word},
    element('figcaption', {}, element('strong', {}, title_of(series)), ` (${unit_of(unit)}), ${limits_in_words(series)}. `, reading),
    svg,
    table_behind(`${title_of(series)} as a table`, ['Station', 'Value', 'U95', 'Verdict'],
      () => points.map((p) => [station(p.s), value_in(p.v, unit), value_in(p.u, unit), lower === null && upper === null ? '' : {pass: 'passes', fail: 'out', undecided: 'undecided'}[verdict_at(p)]])));
}
