// The cut through the body at the picked station: scanned points, fitted faces, planned strips laid in place.
import {page, points_of_section, results} from './data.js';
import {element, replace} from './dom.js';
import {on_select, select, selected} from './selection.js';
import {length, length_unit, station, unit, with_uncertainty} from './words.js';

function nearest(list, station_mm, key) {
  if (!list.length) return null;
  return list.reduce((a, b) => (Math.abs(key(b) - station_mm) < Math.abs(key(a) - station_mm) ? b : a));
}
const index_of = (station_mm) => page.sections.indexOf(nearest(page.sections, station_mm, (s) => s.station_mm));

const line_of = (face) => {
  const d = [face.to[0] - face.from[0], face.to[1] - face.from[1]];
  const l = Math.hypot(...d) || 1;
  return {p: face.from, d: [d[0] / l, d[1] / l]};
};
function meet(a, b) {
  const det = a.d[0] * -b.d[1] + a.d[1] * b.d[0];
  if (Math.abs(det) < 1e-6) return null;
  const r = [b.p[0] - a.p[0], b.p[1] - a.p[1]];
  const t = (r[0] * -b.d[1] + r[1] * b.d[0]) / det;
  return [a.p[0] + t * a.d[0], a.p[1] + t * a.d[1]];
}

// Corner, direction of width along the first face, and direction of depth into the wood.
function channel_frame(corner, section) {
  const face = (kind) => {
    const all = section.faces.filter((f) => f.kind === kind);
    return all.length ? line_of(all.reduce((a, b) => (Math.hypot(b.to[0] - b.from[0], b.to[1] - b.from[1]) > Math.hypot(a.to[0] - a.from[0], a.to[1] - a.from[1]) ? b : a))) : null;
  };
  const [first_kind, second_kind] = corner.split('-');
  const fallback = {side: {p: [0, 0], d: [0, 1]}, top: {p: [0, 0], d: [-1, 0]}};
  const first = face(first_kind) ?? fallback[first_kind], second = face(second_kind) ?? fallback[second_kind];
  if (!first || !second) return null;
  const c = meet(first, second);
  if (!c || Math.hypot(...c) > 80) return null;
  let w = first.d;
  if (first_kind === 'top' ? w[0] > 0 : w[1] > 0) w = [-w[0], -w[1]];
  // Into the wood: down from the top, in from the side.
  let n = [w[1], -w[0]];
  if (first_kind === 'top' ? n[1] > 0 : n[0] > 0) n = [-n[0], -n[1]];
  return {c, w, n};
}

function strip_shapes(channel, stations, section) {
  const frame = channel_frame(channel.corner, section);
  const here = nearest(stations, section.station_mm, (s) => s.station_mm);
  if (!frame || !here || Math.abs(here.station_mm - section.station_mm) > 3) return [];
  const at = (along, deep) => [frame.c[0] + frame.w[0] * along + frame.n[0] * deep, frame.c[1] + frame.w[1] * along + frame.n[1] * deep];
  const shapes = [];
  let along = 0;
  channel.strips.forEach((strip, i) => {
    const k = channel.steps.findIndex((step) => i >= step.first_strip && i <= step.last_strip);
    const depth = here.steps[k]?.depth_mm;
    if (depth !== null && depth !== undefined) {
      const floor = depth - channel.glue_mm, top = floor - strip.height_mm;
      shapes.push({name: strip.name, later: strip.later, corners: [at(along, floor), at(along + strip.thickness_mm, floor), at(along + strip.thickness_mm, top), at(along, top)]});
    }
    along += strip.thickness_mm + channel.glue_mm;
  });
  return shapes;
}

const face_words = {side: 'side', top: 'top', bevel: 'bevel', floor: 'floor', wall: 'wall'};

function draw(section, width) {
  const points = points_of_section(page.sections.indexOf(section));
  const [x0, x1, y0, y1] = page.section_window_mm;
  const height = Math.min(560, Math.max(220, width * (y1 - y0) / (x1 - x0)));
  const scale = Math.min(width / (x1 - x0), height / (y1 - y0));
  // Out of the body lies to the right, the top above.
  const shift = (width - (x1 - x0) * scale) / 2;
  const X = (p) => shift + (p[0] - x0) * scale, Y = (p) => (y1 - p[1]) * scale;
  const h = (y1 - y0) * scale;
  const svg = element('svg', {viewBox: `0 0 ${width} ${h.toFixed(1)}`, class: 'section', role: 'img', 'aria-label': `Section at ${station(section.station_mm)}: ${points.length} points, ${section.faces.map((f) => face_words[f.kind]).join(', ')}.`});
  const dots = points.map((p) => `M${X(p).toFixed(1)} ${Y(p).toFixed(1)}h0`).join('');
  svg.append(element('path', {d: dots, class: 'scan-points'}));
  for (const channel of page.channels) {
    const stations = results.channels.find((c) => c.name === channel.name)?.stations ?? [];
    for (const shape of strip_shapes(channel, stations, section)) {
      svg.append(element('polygon', {points: shape.corners.map((p) => `${X(p).toFixed(1)},${Y(p).toFixed(1)}`).join(' '), class: shape.later ? 'strip later' : 'strip'}, element('title', {}, shape.name)));
    }
  }
  for (const face of section.faces) {
    svg.append(element('line', {x1: X(face.from), y1: Y(face.from), x2: X(face.to), y2: Y(face.to), class: `face ${face.kind}`}));
    const m = [(face.from[0] + face.to[0]) / 2, (face.from[1] + face.to[1]) / 2];
    const long = Math.hypot(face.to[0] - face.from[0], face.to[1] - face.from[1]) * scale;
    if (['side', 'top', 'bevel'].includes(face.kind) && long > 46) {
      svg.append(element('text', {x: X(m) + (face.kind === 'side' ? -10 : 0), y: Y(m) + (face.kind === 'side' ? 0 : -12), 'font-size': 15, class: 'face-label', 'text-anchor': face.kind === 'side' ? 'end' : face.kind === 'bevel' ? 'start' : 'middle'}, face_words[face.kind]));
    }
  }
  const bar = 5;
  svg.append(element('line', {x1: 12, x2: 12 + bar * scale, y1: h - 14, y2: h - 14, class: 'tick strong'}));
  svg.append(element('text', {x: 18 + bar * scale, y: h - 9, 'font-size': 14, class: 'tick-label'}, length_unit(bar)));
  return svg;
}

// The numbers of the station, in a table that a screen reader can follow.
function numbers(section) {
  const rows = [];
  const s = section.station_mm;
  const bevel = nearest(results.bevel?.stations ?? [], s, (b) => b.station_mm);
  if (bevel && Math.abs(bevel.station_mm - s) <= 2) {
    rows.push(['Angle', with_uncertainty(bevel.angle_deg, bevel.angle_u95_deg, 'deg')]);
    rows.push(['Drop', with_uncertainty(bevel.drop_mm, bevel.drop_u95_mm)]);
    rows.push(['Top reach', with_uncertainty(bevel.top_reach_mm, bevel.top_reach_u95_mm)]);
    rows.push(['Out of straight', with_uncertainty(bevel.straightness_mm, bevel.straightness_u95_mm)]);
  }
  const block = nearest(results.block?.stations ?? [], s, (b) => b.station_mm);
  if (block && Math.abs(block.station_mm - s) <= 2) {
    rows.push(['Block left along the top', with_uncertainty(block.top_left_mm, block.top_left_u95_mm)]);
    rows.push(['Block left down the side', with_uncertainty(block.side_left_mm, block.side_left_u95_mm)]);
  }
  const fits = [];
  page.fits.forEach((fit) => {
    const channel = page.channels[fit.channel];
    const here = nearest(fit.stations, s, (f) => f.station_mm);
    const measured = nearest(results.channels[fit.channel]?.stations ?? [], s, (f) => f.station_mm);
    if (!measured || Math.abs(measured.station_mm - s) > 2) return;
    measured.steps.forEach((step, k) => {
      rows.push([`${channel.name}, step ${k + 1} width`, with_uncertainty(step.width_mm, step.width_u95_mm)]);
      rows.push([`${channel.name}, step ${k + 1} depth`, with_uncertainty(step.depth_mm, step.depth_u95_mm)]);
    });
    if (!here || Math.abs(here.station_mm - s) > 2) return;
    here.steps.forEach((step, k) => {
      const names = channel.strips.slice(channel.steps[k].first_strip, channel.steps[k].last_strip + 1).map((p) => p.name).join(', ');
      const signed = (value, more, less) => (value === null ? 'not measured' : Math.abs(value) < 0.005 ? 'none' : `${length(Math.abs(value))} ${unit} ${value > 0 ? more : less}`);
      fits.push([names, signed(step.proud_mm, 'proud', 'low'), signed(step.gap_under_mm, 'gap', 'too high'), signed(step.gap_behind_mm, 'gap', 'too tight')]);
    });
  });
  const box = element('div', {class: 'numbers'});
  if (rows.length) box.append(element('table', {}, element('caption', {}, 'Measured here'), element('tbody', {}, rows.map(([name, value]) => element('tr', {}, element('th', {scope: 'row'}, name), element('td', {}, value))))));
  else box.append(element('p', {}, 'Nothing of the plan was measured at this station.'));
  if (fits.length) {
    box.append(element('table', {class: 'fit'}, element('caption', {}, 'The strips laid in: how each stands pressed down, and the gaps if held as planned'),
      element('thead', {}, element('tr', {}, ['Strip', 'Stands', 'Under it', 'Behind it'].map((h) => element('th', {scope: 'col'}, h)))),
      element('tbody', {}, fits.map((row) => element('tr', {}, row.map((cell, i) => element(i ? 'td' : 'th', i ? {} : {scope: 'row'}, cell)))))));
  }
  return box;
}

export function draw_sections(width) {
  if (!page.sections.length) return element('p', {}, 'No section could be cut through this scan.');
  const first = page.sections[0].station_mm, last = page.sections[page.sections.length - 1].station_mm;
  const drawing = element('div', {class: 'section-drawing'}), table = element('div', {'aria-live': 'polite'});
  const label = element('output', {for: 'station-slider', class: 'station-word'});
  const slider = element('input', {type: 'range', id: 'station-slider', min: 0, max: page.sections.length - 1, step: 1, value: 0, 'aria-label': 'Station along the rim',
    oninput: () => select(page.sections[Number(slider.value)].station_mm)});
  const step = (by) => select(page.sections[Math.max(0, Math.min(page.sections.length - 1, index_of(selected()) + by))].station_mm);
  const show = (s) => {
    const index = index_of(s), section = page.sections[index];
    slider.value = String(index);
    slider.setAttribute('aria-valuetext', station(section.station_mm));
    label.textContent = station(section.station_mm);
    replace(drawing, draw(section, Math.min(width, 720)));
    replace(table, numbers(section));
  };
  show(selected());
  on_select(show);
  return element('div', {class: 'sections'},
    element('div', {class: 'stepper'},
      element('button', {type: 'button', class: 'step', 'aria-label': 'Previous station', onclick: () => step(-1)}, '\u2190'),
      element('div', {class: 'slide'}, slider, element('div', {class: 'ends'}, element('span', {}, station(first)), label, element('span', {}, station(last)))),
      element('button', {type: 'button', class: 'step', 'aria-label': 'Next station', onclick: () => step(1)}, '\u2192')),
    element('div', {class: 'section-pair'}, drawing, table));
}

// Left and right arrows move the station wherever the focus is not in something that uses them itself.
export function listen_to_arrows() {
  document.addEventListener('keydown', (event) => {
    if (event.key !== 'ArrowLeft' && event.key !== 'ArrowRight') return;
    if (event.altKey || event.ctrlKey || event.metaKey || !page.sections.length) return;
    if (event.target.closest('input, [role=tablist], [role=region], canvas')) return;
    const by = (event.key === 'ArrowRight' ? 1 : -1) * (event.shiftKey ? 10 : 1);
    const index = Math.max(0, Math.min(page.sections.length - 1, index_of(selected()) + by));
    select(page.sections[index].station_mm);
    event.preventDefault();
  });
}
