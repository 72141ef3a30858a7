// The data that the program put into the page: results.json as it is, and what only the page needs.
const text_of = (id) => document.getElementById(id)?.textContent ?? '';

function bytes_of(id) {
  const text = atob(text_of(id).trim());
  const bytes = new Uint8Array(text.length);
  for (let i = 0; i < text.length; ++i) bytes[i] = text.charCodeAt(i);
  return bytes;
}

// Little-endian whatever the machine.
export function int16_of(id) {
  const bytes = bytes_of(id);
  const view = new DataView(bytes.buffer);
  const numbers = new Int16Array(bytes.length >> 1);
  for (let i = 0; i < numbers.length; ++i) numbers[i] = view.getInt16(2 * i, true);
  return numbers;
}

export const facts = JSON.parse(text_of('facts'));
export const results = facts.results;
export const page = facts.page;

export const nothing = -32768;

// Unrolled face: rows from the lower edge up, columns along the rim; NaN where not measured.
export function face_cells() {
  const packed = int16_of('face-cells');
  return Float32Array.from(packed, (v) => (v === nothing ? NaN : v * page.map.quantum_mm));
}

let section_points = null;
export function points_of_section(index) {
  section_points ??= int16_of('section-points');
  const {first, count} = page.sections[index];
  const points = [];
  for (let i = first; i < first + count; ++i) {
    points.push([section_points[2 * i] * page.section_quantum_mm, section_points[2 * i + 1] * page.section_quantum_mm]);
  }
  return points;
}

// Every quantity along the rim with its limits: [{feature, quantity, unit, nominal, lower, upper, points: [{s, v, u}]}].
export function series() {
  const limits = (feature, quantity) => results.limits.find((l) => l.feature === feature && l.quantity === quantity) ?? {};
  const all = [];
  const add = (feature, quantity, unit, stations, value, u95) => {
    const points = stations.filter((s) => value(s) !== null && value(s) !== undefined).map((s) => ({s: s.station_mm, v: value(s), u: u95(s) ?? 0}));
    const limit = limits(feature, quantity);
    if (points.length) all.push({feature, quantity, unit, points, nominal: limit.nominal ?? null, lower: limit.lower ?? null, upper: limit.upper ?? null});
  };
  const bevel = results.bevel?.stations ?? [];
  add('bevel', 'angle', 'deg', bevel, (s) => s.angle_deg, (s) => s.angle_u95_deg);
  add('bevel', 'drop', 'mm', bevel, (s) => s.drop_mm, (s) => s.drop_u95_mm);
  add('bevel', 'top reach', 'mm', bevel, (s) => s.top_reach_mm, (s) => s.top_reach_u95_mm);
  add('bevel', 'straightness', 'mm', bevel, (s) => s.straightness_mm, (s) => s.straightness_u95_mm);
  const block = results.block?.stations ?? [];
  add('block', 'top left', 'mm', block, (s) => s.top_left_mm, (s) => s.top_left_u95_mm);
  add('block', 'side left', 'mm', block, (s) => s.side_left_mm, (s) => s.side_left_u95_mm);
  for (const channel of results.channels) {
    channel.planned.forEach((_, k) => {
      add(channel.name, `step ${k + 1} width`, 'mm', channel.stations, (s) => s.steps[k]?.width_mm, (s) => s.steps[k]?.width_u95_mm);
      add(channel.name, `step ${k + 1} depth`, 'mm', channel.stations, (s) => s.steps[k]?.depth_mm, (s) => s.steps[k]?.depth_u95_mm);
    });
  }
  return all;
}

export const verdict_of = (v, u, lower, upper) => {
  const lo = lower ?? -Infinity, hi = upper ?? Infinity;
  if (v - u >= lo && v + u <= hi) return 'pass';
  return v + u < lo || v - u > hi ? 'fail' : 'undecided';
};
