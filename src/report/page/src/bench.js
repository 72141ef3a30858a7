// The builder's page: what to do, where, how much, which way.
import {draw_body} from './body_3d.js';
import {draw_curve} from './curves.js';
import {page, results, series} from './data.js';
import {element, table_behind} from './dom.js';
import {draw_face_legend, draw_face_map, face_table_head, face_table_rows} from './face_map.js';
import {draw_rim} from './rim_plan.js';
import {draw_sanding} from './sanding.js';
import {draw_sections} from './section.js';
import {select} from './selection.js';
import {mark, station, station_number, unit} from './words.js';

export const jobs = page.jobs.map((job) => ({...job, places: job.findings.map((i) => results.findings[i])}));

const place_words = (finding) => (finding.to_mm - finding.from_mm < 10 ? `around ${station((finding.from_mm + finding.to_mm) / 2)}` : `${station_number(finding.from_mm)} to ${station(finding.to_mm)}`);
const sentence = (text) => text.charAt(0).toUpperCase() + text.slice(1) + (/[.!?]$/.test(text) ? '' : '.');

export function verdict_line() {
  const failed = jobs.filter((j) => j.verdict === 'fail').length, open = jobs.length - failed;
  const things = (n) => (n === 1 ? 'one thing' : `${n} things`);
  if (results.verdict === 'pass') return 'Within the plan everywhere it was measured.';
  if (results.verdict === 'fail') return `Not yet: ${things(failed)} to put right${open ? `, ${things(open)} undecided` : ''}.`;
  return open ? `Undecided: ${things(open)} the scan cannot settle.` : 'Undecided: nothing of the plan was measured.';
}

export function verdict_banner() {
  return element('p', {class: `verdict ${results.verdict}`}, element('span', {class: 'verdict-mark', 'aria-hidden': 'true'}, mark[results.verdict]), element('span', {}, verdict_line()));
}

function job_list() {
  if (!jobs.length) return element('p', {class: 'all-well'}, 'Nothing to do.');
  return element('ol', {class: 'jobs'}, jobs.map((job) => element('li', {class: job.verdict},
    element('span', {class: `number ${job.verdict}`}, job.number),
    element('div', {class: 'job-text'},
      element('p', {class: 'where'}, element('strong', {}, job.places[0].feature), ` \u00b7 ${job.places[0].quantity === 'presence' ? 'not measured' : job.places[0].quantity} \u00b7 ${place_words(job.places[0])}`, job.verdict === 'undecided' ? element('span', {class: 'tag'}, 'undecided') : null),
      element('p', {class: 'advice'}, sentence(job.places[0].advice)),
      job.places.slice(1).map((finding) => element('p', {class: 'also'}, finding.quantity === 'presence' ? `Also ${place_words(finding)}.` : `Also ${finding.feature === job.places[0].feature ? '' : `${finding.feature}, `}${finding.quantity}: ${finding.advice}.`))),
    element('button', {type: 'button', class: 'show', onclick: () => {
      select(job.places[0].worst.station_mm ?? job.places[0].from_mm);
      document.getElementById('section-title').scrollIntoView({behavior: matchMedia('(prefers-reduced-motion: reduce)').matches ? 'auto' : 'smooth'});
    }, 'aria-label': `Show job ${job.number} in the section`}, 'Show'))));
}

const glue_marks = {passes: '\u2713', 'not measured': '\u2013', 'seal first': '!'};

function gluing() {
  if (!page.glue.items.length) return null;
  const title = {pass: 'Ready to glue', fail: 'Not ready to glue', undecided: 'Ready to glue? Not settled'}[page.glue.ready];
  return element('section', {'aria-labelledby': 'glue-title'}, element('h2', {id: 'glue-title'}, title),
    jobs.length ? element('p', {}, jobs.length === 1 ? 'First the thing to do above.' : `First the ${jobs.length} things to do above.`) : null,
    page.fits.map((fit) => [element('p', {}, fit.summary.charAt(0).toUpperCase() + fit.summary.slice(1), '.'), fit.mends.length ? element('ul', {class: 'plain-list'}, fit.mends.map((mend) => element('li', {}, mend))) : null]),
    element('ul', {class: 'glue'}, page.glue.items.filter((item) => ['passes', 'not measured', 'seal first'].includes(item.kind)).map((item) => element('li', {}, element('span', {class: 'glue-mark', 'aria-hidden': 'true'}, glue_marks[item.kind]), element('span', {}, element('strong', {}, `${item.feature ? `${item.feature}, ` : ''}${item.kind}: `), item.text)))));
}

function cutting() {
  if (!page.cut.pieces.length) return null;
  return element('section', {'aria-labelledby': 'cut-title'}, element('h2', {id: 'cut-title'}, 'Strips to cut'),
    element('div', {class: 'scroll wide', tabindex: '0', role: 'region', 'aria-label': 'Table of strips to cut'}, element('table', {},
      element('thead', {}, element('tr', {}, ['Strip', 'For', 'Cut to', 'Lies at'].map((h) => element('th', {scope: 'col'}, h)))),
      element('tbody', {}, page.cut.pieces.map((piece) => element('tr', {}, element('th', {scope: 'row'}, piece.strip), element('td', {}, piece.channel), element('td', {}, station(piece.cut_mm)), element('td', {}, `${station_number(piece.from_mm)} to ${station(piece.to_mm)}${piece.note ? `; ${piece.note}` : ''}`)))))),
    element('p', {class: 'hint'}, 'With the allowance for fitting at both ends.', page.cut.notes.map((note) => ` ${note}`)));
}

const rank = (figure) => ['fail', 'undecided', 'pass', 'none'].indexOf(figure.dataset.worst);

export const cautions = () => element('section', {class: 'cautions', 'aria-labelledby': 'cautions-title'},
  element('h2', {id: 'cautions-title'}, 'Before you cut'),
  element('ul', {},
    element('li', {}, 'A scan does not replace a hand check: set a gauge on the work before any cut that cannot be undone.'),
    element('li', {}, 'Routing: eye and ear protection, work held fast, light passes against the cutter\u2019s turn, both hands clear; unplug to change or reset a cutter.'),
    element('li', {}, 'Dust, and the fumes of adhesives and lacquers, harm lungs and can burn: extraction, a fitting mask, fresh air, no flames. Follow the makers\u2019 sheets.'),
    element('li', {}, 'Follow local codes, and leave to licensed practice what they ask it for.')));

export function draw_bench(width) {
  const half = width > 640 ? Math.floor(width * 0.5) : width;
  const section = (id, title, ...children) => element('section', {'aria-labelledby': id}, element('h2', {id}, title), children);
  const all = series();
  const main = element('div', {class: 'view bench'},
    section('jobs-title', jobs.length === 1 ? 'One thing to do' : jobs.length ? `${jobs.length} things to do` : 'To do', job_list()),
    results.notes.length ? section('capture-title', 'What to know of the capture', element('ul', {class: 'plain-list'}, results.notes.map((note) => element('li', {}, sentence(note))))) : null,
    section('rim-title', 'Where on the rim', element('p', {class: 'hint'}, `The rim from above, to scale; figures are stations in ${unit}. Pick a place to see its section.`), element('div', {class: 'rim-box'}, draw_rim(jobs, {width}))),
    section('section-title', 'Section', element('p', {class: 'hint'}, 'Slide, tap a drawing, or use the left and right arrow keys. Dots are scanned points, lines the fitted faces, filled shapes the planned strips laid in.'), draw_sections(half)),
    page.map.columns ? section('map-title', 'The face, unrolled', element('p', {class: 'hint'}, 'Upper edge on top. The number over a bracket is the thing to do.'), draw_face_legend(width), draw_face_map(jobs, {width}), table_behind('The face as a table', face_table_head, face_table_rows)) : null,
    page.sanding.length ? section('sanding-title', 'Under a flat sanding block', draw_sanding(width)) : null,
    gluing(),
    cutting(),
    all.length ? section('curves-title', 'Along the rim', element('p', {class: 'hint'}, 'Dark line: measured. Band round it: U95. Green: allowed. Crosses: out of tolerance.'), all.map((s) => draw_curve(s, {width})).sort((a, b) => rank(a) - rank(b))) : null,
    section('body-title', 'In space', draw_body(width)),
    cautions());
  return main;
}
