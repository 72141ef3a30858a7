// The unrolled face as a heat map in bands, upper edge on top: colours, contours at the limits, hatch by sign, ticks.
import {contours} from 'd3-contour';
import {heat_rgb} from './colours.js';
import {face_cells, page} from './data.js';
import {element} from './dom.js';
import {on_select, select, selected} from './selection.js';
import {length, length_unit, station, station_number} from './words.js';

let cells = null;
let picture = null;

function picture_of_cells() {
  if (picture) return picture;
  const {columns, rows} = page.map;
  const canvas = document.createElement('canvas');
  canvas.width = columns;
  canvas.height = rows;
  const pen = canvas.getContext('2d');
  const image = pen.createImageData(columns, rows);
  for (let row = 0; row < rows; ++row) {
    for (let column = 0; column < columns; ++column) {
      const [r, g, b] = heat_rgb(cells[row * columns + column], page.heat.range_mm);
      image.data.set([r, g, b, 255], 4 * ((rows - 1 - row) * columns + column));
    }
  }
  pen.putImageData(image, 0, 0);
  picture = canvas.toDataURL('image/png');
  return picture;
}

let regions = null;
function regions_beyond_limit() {
  if (regions) return regions;
  const {columns, rows} = page.map;
  // Single cells are noise: contours follow the mean within 1.5 mm.
  const half_rows = Math.round(1.5 / page.map.across_step_mm), half_columns = Math.round(1.5 / page.map.station_step_mm);
  const smooth = Float32Array.from(cells, (v, i) => {
    if (Number.isNaN(v)) return v;
    const row = Math.floor(i / columns), column = i % columns;
    let sum = 0, n = 0;
    for (let r = Math.max(0, row - half_rows); r <= Math.min(rows - 1, row + half_rows); ++r) {
      for (let c = Math.max(0, column - half_columns); c <= Math.min(columns - 1, column + half_columns); ++c) {
        const w = cells[r * columns + c];
        if (!Number.isNaN(w)) sum += w, ++n;
      }
    }
    return sum / n;
  });
  const beyond = (sign) => {
    const values = Array.from(smooth, (v) => (Number.isNaN(v) ? -1e9 : sign * v));
    return contours().size([columns, rows]).thresholds([page.heat.limit_mm])(values)[0];
  };
  regions = {high: beyond(1), deep: beyond(-1)};
  return regions;
}

let patterns = 0;
export function draw_face_map(jobs, {interactive = true, width = 900, in_one = false} = {}) {
  const map = page.map;
  if (!map.columns || !map.rows) return element('p', {}, 'No bevel face was measured, so there is no map.');
  cells ??= face_cells();
  const length_mm = map.columns * map.station_step_mm, height_mm = map.rows * map.across_step_mm;
  const letter = 15;
  const left = 4, right = 4;
  // Bands of equal length, three pixels a millimetre or a little less.
  const bands = in_one ? 1 : Math.max(1, Math.round(length_mm / ((width - left - right) / 2.9)));
  const band_mm = Math.ceil(length_mm / bands / 10) * 10;
  const scale = (width - left - right) / band_mm;
  const {high, deep} = regions_beyond_limit();
  const holder = element('div', {class: 'face-map'});
  const cursors = [];
  for (let band = 0; band < bands; ++band) {
    const from = map.first_station_mm + band * band_mm;
    const to = Math.min(from + band_mm, map.first_station_mm + length_mm);
    const id = `face-${++patterns}`;
    const head = 30, face_px = height_mm * scale, foot = 34;
    const shown = (to - from) * scale;
    const X = (s) => left + (s - from) * scale;
    const x_of = (column) => X(map.first_station_mm + column * map.station_step_mm);
    const y_of = (row) => head + face_px - row * map.across_step_mm * scale;
    const region = (shape) => shape.coordinates.map((polygon) => polygon.map((ring) => 'M' + ring.map(([c, r]) => `${x_of(c).toFixed(1)} ${y_of(r).toFixed(1)}`).join('L') + 'Z').join('')).join('');
    const svg = element('svg', {viewBox: `0 0 ${width} ${(head + face_px + foot).toFixed(1)}`, class: 'band', role: 'img',
      'aria-label': `Bevel face from ${station(from)} to ${station(to)}. Blue with level strokes is too deep, orange with rising strokes is wood to take off.`});
    svg.append(element('defs', {},
      element('clipPath', {id: `${id}-clip`}, element('rect', {x: left, y: head, width: shown, height: face_px})),
      element('pattern', {id: `${id}-high`, width: 9, height: 9, patternUnits: 'userSpaceOnUse'}, element('path', {d: 'M0 9L9 0M-2 2L2 -2M7 11L11 7', class: 'hatch'})),
      element('pattern', {id: `${id}-deep`, width: 9, height: 7, patternUnits: 'userSpaceOnUse'}, element('path', {d: 'M0 3.5H9', class: 'hatch'}))));
    const face = element('g', {'clip-path': `url(#${id}-clip)`});
    face.append(element('image', {href: picture_of_cells(), x: x_of(0), y: head, width: length_mm * scale, height: face_px, preserveAspectRatio: 'none'}));
    face.append(element('path', {d: region(high), fill: `url(#${id}-high)`, class: 'contour'}));
    face.append(element('path', {d: region(deep), fill: `url(#${id}-deep)`, class: 'contour'}));
    svg.append(face, element('rect', {x: left, y: head, width: shown, height: face_px, class: 'frame'}));
    for (let s = Math.ceil(from / 10) * 10; s <= to; s += 10) {
      const large = s % 50 === 0;
      svg.append(element('line', {x1: X(s), x2: X(s), y1: head + face_px, y2: head + face_px + (large ? 10 : 5), class: 'tick'}));
      if (large) {
        const anchor = X(s) < 20 ? 'start' : X(s) > width - 20 ? 'end' : 'middle';
        svg.append(element('text', {x: X(s), y: head + face_px + 26, 'font-size': letter, 'text-anchor': anchor, class: 'tick-label'}, station_number(s)));
      }
    }
    for (const job of jobs) {
      const part = job.places[0];
      if (part.feature !== 'bevel' || part.from_mm > to || part.to_mm < from) continue;
      const a = X(Math.max(from, part.from_mm)), b = Math.max(a + 6, X(Math.min(to, part.to_mm)));
      svg.append(element('path', {d: `M${a} ${head - 4}v-7H${b}v7`, class: `bracket ${job.verdict}`}));
      svg.append(element('text', {x: Math.min(width - 10, Math.max(10, (a + b) / 2)), y: head - 14, 'font-size': letter, 'text-anchor': 'middle', class: 'bracket-number'}, job.number));
    }
    if (interactive) {
      const cursor = element('line', {y1: head - 4, y2: head + face_px + 12, class: 'cursor'});
      svg.append(cursor);
      cursors.push((s) => {
        const inside = s >= from && s <= to;
        cursor.setAttribute('visibility', inside ? 'visible' : 'hidden');
        if (inside) {
          cursor.setAttribute('x1', X(s));
          cursor.setAttribute('x2', X(s));
        }
      });
      svg.addEventListener('click', (event) => {
        const box = svg.getBoundingClientRect();
        const s = from + ((event.clientX - box.left) / box.width * width - left) / scale;
        if (s >= from && s <= to) select(s);
      });
    }
    holder.append(svg);
  }
  if (interactive) {
    const show = (s) => cursors.forEach((c) => c(s));
    show(selected());
    on_select(show);
  }
  return holder;
}

// Colour bar with zero and limits, in words and shapes.
export function draw_face_legend(page_width) {
  const {range_mm, limit_mm, name} = page.heat;
  const width = Math.min(640, page_width - 20), bar = 26, x = 36, w = width - 72;
  const svg = element('svg', {viewBox: `0 0 ${width} 82`, class: 'legend', role: 'img', 'aria-label': `Colours from ${length_unit(-range_mm)} too deep over zero to ${length_unit(range_mm)} to take off; lines at plus and minus ${length_unit(limit_mm)}.`});
  for (let i = 0; i < 80; ++i) {
    const [r, g, b] = heat_rgb((2 * (i + 0.5) / 80 - 1) * range_mm, range_mm);
    svg.append(element('rect', {x: x + w * i / 80, y: 26, width: w / 80 + 0.6, height: bar, fill: `rgb(${r},${g},${b})`}));
  }
  svg.append(element('rect', {x, y: 26, width: w, height: bar, class: 'frame'}));
  const narrow = width < 480;
  for (const mark of [-range_mm, -limit_mm, 0, limit_mm, range_mm]) {
    const at = x + w * (mark / range_mm + 1) / 2;
    svg.append(element('line', {x1: at, x2: at, y1: 22, y2: 26 + bar + 6, class: Math.abs(mark) === limit_mm || mark === 0 ? 'tick strong' : 'tick'}));
    svg.append(element('text', {x: at, y: 76, 'font-size': 15, 'text-anchor': 'middle', class: 'tick-label'}, (mark > 0 ? '+' : '') + (narrow ? length(mark) : length_unit(mark))));
  }
  svg.append(element('text', {x, y: 16, 'font-size': 15, class: 'tick-label'}, '\u2014 too deep'));
  svg.append(element('text', {x: x + w, y: 16, 'font-size': 15, 'text-anchor': 'end', class: 'tick-label'}, 'wood to take off \u2571'));
  return element('figure', {class: 'legend-box'}, svg, element('figcaption', {}, `Lines and strokes begin at ${length_unit(limit_mm)} either way (${name}).`));
}

export const face_table_head = ['Station', 'Highest', 'Deepest', 'Mean'];
export function face_table_rows() {
  const map = page.map;
  const rows = [];
  for (let column = 0; column < map.columns; column += Math.max(1, Math.round(5 / map.station_step_mm))) {
    let low = Infinity, high = -Infinity, sum = 0, n = 0;
    for (let row = 0; row < map.rows; ++row) {
      const v = cells[row * map.columns + column];
      if (Number.isNaN(v)) continue;
      low = Math.min(low, v), high = Math.max(high, v), sum += v, ++n;
    }
    if (n) rows.push([station(map.first_station_mm + column * map.station_step_mm), length_unit(high), length_unit(low), length_unit(sum / n)]);
  }
  return rows;
}
