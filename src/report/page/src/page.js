import {draw_bench, jobs, verdict_banner, verdict_line} from './bench.js';
import {draw_client} from './client.js';
import {page, results} from './data.js';
import {element, replace} from './dom.js';
import {listen_to_arrows} from './section.js';
import {select} from './selection.js';
import {draw_trust} from './trust.js';

const views = [
  {id: 'bench', title: 'Bench', draw: draw_bench},
  {id: 'client', title: 'Client', draw: draw_client},
  {id: 'trust', title: 'Trust', draw: draw_trust},
];
let open_view = page.for_client ? 'client' : 'bench';

const content = element('main', {id: 'content', tabindex: '-1'});
const tabs = element('div', {role: 'tablist', 'aria-label': 'Who reads it', class: 'tabs'});
for (const view of views) {
  view.tab = element('button', {type: 'button', role: 'tab', id: `tab-${view.id}`, 'aria-controls': `panel-${view.id}`, onclick: () => show(view.id)}, view.title);
  view.panel = element('div', {role: 'tabpanel', id: `panel-${view.id}`, 'aria-labelledby': `tab-${view.id}`, hidden: true});
  tabs.append(view.tab);
  content.append(view.panel);
}
tabs.addEventListener('keydown', (event) => {
  const by = {ArrowLeft: -1, ArrowRight: 1}[event.key];
  if (!by) return;
  const index = (views.findIndex((v) => v.id === open_view) + by + views.length) % views.length;
  show(views[index].id);
  views[index].tab.focus();
  event.preventDefault();
});

// A view is drawn when first opened, and again when the page's width changes.
function show(id) {
  open_view = id;
  document.body.dataset.view = id;
  for (const view of views) {
    const is_open = view.id === id;
    view.tab.setAttribute('aria-selected', String(is_open));
    view.tab.tabIndex = is_open ? 0 : -1;
    view.panel.hidden = !is_open;
    if (is_open && view.drawn_at !== width()) draw(view);
  }
}
const width = () => Math.max(300, Math.floor(content.clientWidth));
function draw(view, at = width()) {
  view.drawn_at = at;
  replace(view.panel, view.draw(at));
}

document.getElementById('page').append(
  element('header', {class: 'head'},
    element('h1', {dir: 'auto'}, results.instrument || 'Instrument without a name'),
    verdict_banner(),
    tabs),
  content,
  element('footer', {class: 'foot'}, `rimwright ${results.made_by.version}`, page.made_on ? ` \u00b7 ${page.made_on}` : '', ` \u00b7 ${page.scan_name}`));
document.title = `${results.instrument.slice(0, 80)}: ${verdict_line()}`;

if (page.sections.length) select(jobs[0]?.places[0].worst.station_mm ?? page.sections[page.sections.length >> 1].station_mm);
show(open_view);
listen_to_arrows();
let waiting = 0;
addEventListener('resize', () => {
  clearTimeout(waiting);
  waiting = setTimeout(() => show(open_view), 150);
});
// Paper is narrower than most screens: drawn for its width, letters keep their size.
const paper_px = 680;
addEventListener('beforeprint', () => draw(views.find((v) => v.id === open_view), paper_px));
addEventListener('afterprint', () => show(open_view));
