// The client's page: what was checked and how good it is, without bench talk.
import {verdict_of, page, results, series} from './data.js';
import {element} from './dom.js';
import {draw_face_map} from './face_map.js';
import {draw_rim} from './rim_plan.js';
import {length_unit, station, with_uncertainty} from './words.js';

const median = (values) => [...values].sort((a, b) => a - b)[values.length >> 1];

// Three plain figures: a typical value with its uncertainty, and what was asked for.
function figures() {
  const all = series();
  const chosen = [];
  const add = (title, s, asked) => {
    if (!s || chosen.length === 3) return;
    const inside = s.quantity === 'drop' ? s.points.filter((p) => p.s >= page.fullest_mm[0] && p.s <= page.fullest_mm[1]) : s.points;
    const points = inside.length ? inside : s.points;
    const good = points.filter((p) => verdict_of(p.v, p.u, s.lower, s.upper) === 'pass').length;
    chosen.push({title, value: with_uncertainty(median(points.map((p) => p.v)), median(points.map((p) => p.u)), s.unit), asked, share: Math.floor(100 * good / points.length)});
  };
  const find = (feature, quantity) => all.find((s) => s.feature === feature && s.quantity === quantity);
  const angle = find('bevel', 'angle'), drop = find('bevel', 'drop');
  if (angle) add('Angle of the arm bevel', angle, `${angle.nominal}\u00b0 was planned`);
  if (drop) add('Depth of the arm bevel at the edge', drop, `${length_unit(drop.nominal)} was planned`);
  for (const channel of results.channels) {
    channel.planned.forEach((step, k) => {
      add(`Seat for the ${channel.name}: depth`, find(channel.name, `step ${k + 1} depth`), `${length_unit(step.depth_mm)} was planned`);
      add(`Seat for the ${channel.name}: width`, find(channel.name, `step ${k + 1} width`), `${length_unit(step.width_mm)} was planned`);
    });
  }
  return chosen;
}

const outcome = {
  pass: 'Everything that was measured agrees with the plan.',
  fail: 'Some places do not yet agree with the plan; they are marked below and are being worked on.',
  undecided: 'What was measured is close to the plan; some places need a closer look before we can say so for certain.',
};

export function draw_client(width) {
  const scan = results.scan;
  const marked = page.jobs.map((job) => ({...job, places: job.findings.map((i) => results.findings[i])}));
  const all = figures();
  const covered = page.map.columns ? `${Math.round(100 * scan.seen_share)} % of the ${station(scan.rim_length_mm)} of edge in view` : station(scan.rim_length_mm);
  return element('div', {class: 'view client'},
    element('p', {class: `client-outcome ${results.verdict}`}, outcome[results.verdict]),
    element('section', {'aria-labelledby': 'figures-title'},
      element('h2', {id: 'figures-title'}, 'In figures'),
      element('div', {class: 'figures'}, all.map((f) => element('div', {class: 'figure'}, element('p', {class: 'figure-title'}, f.title), element('p', {class: 'figure-value'}, f.value), element('p', {class: 'figure-asked'}, `${f.asked}; ${f.share} % of the places checked agree for certain.`)))),
      element('p', {class: 'hint'}, 'The figure after \u00b1 is the uncertainty: the true value lies within it in 95 cases of 100.')),
    element('div', {class: 'client-pair'},
      element('section', {'aria-labelledby': 'picture-title'}, element('h2', {id: 'picture-title'}, 'The instrument from above'), element('div', {class: 'rim-box'}, draw_rim(marked, {interactive: false, width: width > 760 ? width / 2 - 20 : width}))),
      element('section', {'aria-labelledby': 'how-title'}, element('h2', {id: 'how-title'}, 'What was measured, and how'),
        element('p', {}, `The surface was captured as ${scan.points.toLocaleString('en')} points in space, and ${covered} was compared with the maker\u2019s plan, place by place.`),
        element('p', {}, `Scale: ${scan.scale_source}.`),
        element('p', {}, page.made_on ? `Report of ${page.made_on}. Capture: ${page.scan_name}.` : `Capture: ${page.scan_name}.`))),
    page.map.columns ? element('section', {'aria-labelledby': 'client-map-title'}, element('h2', {id: 'client-map-title'}, 'The bevel, laid flat'),
      element('p', {class: 'hint'}, 'Pale is as planned. Orange with rising strokes is a little wood still to come off; blue with level strokes is a little low.'), draw_face_map([], {interactive: false, width, in_one: width > 600})) : null);
}
