// How far to trust it: the scan, the uncertainty of each quantity and where it comes from, what was not measured.
import {page, results} from './data.js';
import {element} from './dom.js';
import {length_unit, station, station_number} from './words.js';

const source_words = {point_noise: 'scatter of points', correlated: 'error neighbours share', reference_faces: 'extending top and side', face_form: 'form of the faces', scale: 'scale', capture: 'slow distortion'};

function budget_bar(budget) {
  const parts = Object.entries(budget.median_standard_u).map(([name, u]) => [name, (u ?? 0) ** 2]);
  const total = parts.reduce((sum, [, v]) => sum + v, 0);
  if (!(total > 0)) return null;
  const width = 600, svg = element('svg', {viewBox: `0 0 ${width} 30`, class: 'budget', role: 'img', 'aria-label': parts.map(([name, v]) => `${source_words[name]} ${Math.round(100 * v / total)} %`).join(', ')});
  let x = 0;
  parts.forEach(([name, v], i) => {
    const w = width * v / total;
    if (w < 0.5) return;
    svg.append(element('rect', {x, y: 0, width: w, height: 30, class: `source-${i}`}));
    const label = source_words[name];
    if (w > label.length * 8.2 + 10) svg.append(element('text', {x: x + w / 2, y: 20, 'font-size': 15, 'text-anchor': 'middle', class: `source-label-${i}`}, label));
    x += w;
  });
  return svg;
}

const rows = (pairs) => element('table', {class: 'facts'}, element('tbody', {}, pairs.filter(Boolean).map(([name, value]) => element('tr', {}, element('th', {scope: 'row'}, name), element('td', {}, value)))));

export function draw_trust() {
  const {scan, counts, inputs} = results;
  const section = (id, title, ...children) => element('section', {'aria-labelledby': id}, element('h2', {id}, title), children);
  const hash = (text) => (text ? element('code', {}, text) : 'not taken (a folder)');
  return element('div', {class: 'view trust'},
    section('scan-title', 'The scan', rows([
      ['Points used', `${scan.points.toLocaleString('en')} of ${counts.points_in_file.toLocaleString('en')} in the file`],
      ['Left out', `${counts.not_finite.toLocaleString('en')} not numbers, ${counts.duplicates.toLocaleString('en')} double, ${counts.far_outliers.toLocaleString('en')} far off`],
      ['Distance between points', scan.spacing_mm === null ? 'not known' : length_unit(scan.spacing_mm)],
      ['Scatter of the points (standard deviation)', scan.noise_mm === null ? 'not known' : length_unit(scan.noise_mm)],
      scan.correlated_noise_mm ? ['Of that, shared by neighbours', `${length_unit(scan.correlated_noise_mm)} over ${length_unit(scan.correlation_length_mm ?? 0)}`] : null,
      ['Rim in the scan', `${station(scan.rim_length_mm)}${scan.rim_closed ? ', all the way round' : ''}; ${Math.round(100 * scan.seen_share)} % of it seen`],
      ['Scale', `${scan.scale_source}; relative standard uncertainty ${(100 * scan.scale_relative_u).toFixed(2)} %`],
    ])),
    section('budgets-title', 'Where the uncertainty comes from',
      element('p', {class: 'hint'}, 'Typical U95 of each quantity, and the share of each cause (of the variance, at the middle station).'),
      results.budgets.map((b) => element('div', {class: 'budget-box'}, element('p', {}, element('strong', {}, `${b.feature}, ${b.quantity}: `), `U95 ${b.unit === 'deg' ? `${b.median_u95.toFixed(2)}\u00b0` : length_unit(b.median_u95)}, ${b.in_words}.`), budget_bar(b)))),
    section('gaps-title', 'What could not be measured',
      results.gaps.length ? element('ul', {class: 'plain-list'}, results.gaps.map((g) => element('li', {}, element('strong', {}, `${g.feature}, ${station_number(g.from_mm)} to ${station(g.to_mm)}: `), `${g.what}${g.what_to_do ? `; ${g.what_to_do}` : ''}.`))) : element('p', {}, 'Nothing that the scan shows was left unmeasured.'),
      results.notes.length ? element('ul', {class: 'plain-list'}, results.notes.map((n) => element('li', {}, n))) : null),
    section('rules-title', 'How the verdicts are reached',
      element('p', {}, 'A quantity passes where its whole U95 interval lies within tolerance, fails where all of it lies outside, and is undecided between (ISO 14253-1 read both ways). A stretch of rim is called out of tolerance only on evidence that chance would not show anywhere on more than one sound body in forty.')),
    section('made-title', 'What went in', rows([
      ['Program', `rimwright ${results.made_by.version}`],
      page.made_on ? ['Made on', page.made_on] : null,
      ['Plan', inputs.plan.name], ['Plan, SHA-256', hash(inputs.plan.sha256)],
      ['Scan', inputs.scan.name], ['Scan, SHA-256', hash(inputs.scan.sha256)],
      ['Settings', Object.keys(results.settings).length ? Object.entries(results.settings).map(([k, v]) => element('div', {}, `${k}: ${v}`)) : 'all at their defaults'],
    ])));
}
