// Opens real reports in a headless browser, as a builder or a client would.
// Environment: WRITE_REPORT (program that writes a result folder), CHROMIUM, OUT (a folder to write into).
import assert from 'node:assert/strict';
import {execFileSync} from 'node:child_process';
import {mkdirSync, readFileSync, writeFileSync} from 'node:fs';
import {createRequire} from 'node:module';
import {join} from 'node:path';
import {after, before, test} from 'node:test';
import puppeteer from 'puppeteer-core';

const out = process.env.OUT ?? '/nowhere';
const axe_source = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
const phone = {width: 390, height: 844, deviceScaleFactor: 1, hasTouch: true, isMobile: true};
const laptop = {width: 1280, height: 800, deviceScaleFactor: 1};
const common = ['--no-sandbox', '--hide-scrollbars'];
const with_gl = [...common, '--use-gl=angle', '--use-angle=swiftshader', '--enable-unsafe-swiftshader', '--ignore-gpu-blocklist'];

let browser;
const launch = (args) => puppeteer.launch({executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium', args, protocolTimeout: 120_000});

function report_of(kind) {
  const folder = join(out, kind);
  execFileSync(process.env.WRITE_REPORT, [folder, kind]);
  return {path: join(folder, 'report.html'), results: JSON.parse(readFileSync(join(folder, 'results.json'), 'utf8'))};
}

// A page that remembers everything it should not have done.
async function open(report, viewport = laptop, from = browser) {
  const page = await from.newPage();
  page.faults = [];
  page.on('console', (message) => message.type() === 'error' && page.faults.push(`console: ${message.text()}`));
  page.on('pageerror', (error) => page.faults.push(`error: ${error.message}`));
  page.on('request', (request) => {
    const url = request.url();
    if (!url.startsWith('data:') && url !== `file://${report.path}`) page.faults.push(`request: ${url.slice(0, 100)}`);
  });
  await page.setViewport(viewport);
  await page.goto(`file://${report.path}`);
  await page.waitForSelector('main h2');
  return page;
}
const view = async (page, id) => {
  await page.click(`#tab-${id}`);
  await page.waitForSelector(`#panel-${id}:not([hidden]) h2`);
};
const station_of = (page) => page.$eval('.station-word', (node) => parseFloat(node.textContent));
const no_fault = (page) => assert.deepEqual(page.faults, []);

before(async () => {
  mkdirSync(out, {recursive: true});
  browser = await launch(with_gl);
});
after(() => browser?.close());

test('opens without an error or a request, and says the verdict in words', async () => {
  const page = await open(report_of('defects'));
  assert.match(await page.$eval('.verdict', (n) => n.textContent), /Not yet: 3 things to put right\./);
  assert.equal((await page.$$('.jobs li')).length, 3);
  for (const id of ['client', 'trust', 'bench']) await view(page, id);
  no_fault(page);
  await page.close();
});

test('its policy lets no foreign script run and no request leave', async () => {
  const page = await open(report_of('defects'));
  const seen = await page.evaluate(async () => {
    const script = document.createElement('script');
    script.textContent = 'window.foreign = 1';
    document.body.append(script);
    const asked = await fetch('data:text/plain,x').then(() => 'went out', () => 'stopped');
    return {foreign: window.foreign ?? 0, asked};
  });
  assert.deepEqual(seen, {foreign: 0, asked: 'stopped'});
  await page.close();
});

test('shows the numbers of results.json', async () => {
  const report = report_of('defects');
  const page = await open(report);
  await page.$eval('#station-slider', (slider) => {
    slider.value = '200';
    slider.dispatchEvent(new Event('input'));
  });
  const station = await station_of(page);
  const row = report.results.bevel.stations.find((s) => s.station_mm === station);
  const shown = await page.$$eval('.numbers tr', (rows) => Object.fromEntries(rows.map((r) => [r.children[0].textContent, r.children[1]?.textContent])));
  const number = (text) => Number(text.match(/-?[0-9.]+/)[0]);
  // Shown digits follow U95, so half a unit of the last digit shown is the most they may differ.
  const close = (text, value) => assert.ok(Math.abs(number(text) - value) <= 0.5 * 10 ** -(number(text).toString().split('.')[1] ?? '').length + 1e-9, `${text} for ${value}`);
  close(shown.Angle, row.angle_deg);
  close(shown.Drop, row.drop_mm);
  close(shown['Top reach'], row.top_reach_mm);
  for (const finding of report.results.findings) {
    const advice = await page.$$eval('.advice', (nodes) => nodes.map((n) => n.textContent.toLowerCase()));
    assert.ok(advice.some((a) => a.startsWith(finding.advice.toLowerCase())), finding.advice);
  }
  await page.close();
});

test('a station is picked by click, key, slider and touch', async () => {
  const report = report_of('defects');
  const page = await open(report);
  const start = await station_of(page);
  await page.keyboard.press('ArrowRight');
  assert.equal(await station_of(page), start + 1);
  await page.keyboard.down('Shift');
  await page.keyboard.press('ArrowLeft');
  await page.keyboard.up('Shift');
  assert.equal(await station_of(page), start - 9);

  // A click in the middle of a curve picks the middle of its stations.
  const curve = await page.$('.curve-box[data-worst] svg.curve');
  await curve.evaluate((n) => n.scrollIntoView({block: 'center'}));
  const before_click = await station_of(page);
  const box = await curve.boundingBox();
  await page.mouse.click(box.x + box.width * 0.3, box.y + box.height * 0.5);
  assert.notEqual(await station_of(page), before_click);

  await page.click('.jobs li:nth-child(3) .show');
  const third = report.results.findings[2].worst.station_mm;
  assert.equal(await station_of(page), third);
  no_fault(page);
  await page.close();

  const touched = await open(report, phone);
  const face = await touched.$('.face-map svg');
  await face.evaluate((n) => n.scrollIntoView({block: 'center'}));
  const area = await face.boundingBox();
  const before_touch = await station_of(touched);
  await touched.touchscreen.tap(area.x + area.width * 0.75, area.y + area.height * 0.5);
  await touched.waitForFunction((old) => parseFloat(document.querySelector('.station-word').textContent) !== old, {}, before_touch);
  no_fault(touched);
  await touched.close();
});

test('everything can be reached and used by keyboard alone', async () => {
  const page = await open(report_of('defects'));
  await page.keyboard.press('Tab');
  assert.equal(await page.evaluate(() => document.activeElement.className), 'skip');
  await page.keyboard.press('Tab');
  assert.equal(await page.evaluate(() => document.activeElement.id), 'tab-bench');
  await page.keyboard.press('ArrowRight');
  assert.equal(await page.evaluate(() => document.activeElement.getAttribute('aria-selected')), 'true');
  assert.equal(await page.evaluate(() => document.body.dataset.view), 'client');
  await page.keyboard.press('ArrowLeft');
  await page.$eval('#body-title', (n) => n.scrollIntoView());
  await page.waitForSelector('canvas.body-3d');
  const reached = new Set();
  for (let i = 0; i < 60; ++i) {
    await page.keyboard.press('Tab');
    reached.add(await page.evaluate(() => document.activeElement.id || document.activeElement.className || document.activeElement.tagName));
  }
  for (const wanted of ['show', 'station-slider', 'step', 'block-length', 'body-3d']) assert.ok(reached.has(wanted), `${wanted} in ${[...reached]}`);
  // What is folded away unfolds by key and holds its table.
  await page.focus('.curve-box summary');
  await page.keyboard.press('Enter');
  await page.waitForSelector('.curve-box details[open] tbody tr');
  await page.close();
});

test('the view in space is drawn, in colours of both signs, and turns', async () => {
  const page = await open(report_of('defects'));
  const count = () => page.$eval('canvas.body-3d', (canvas) => {
    const copy = document.createElement('canvas');
    [copy.width, copy.height] = [canvas.width, canvas.height];
    const pen = copy.getContext('2d');
    pen.drawImage(canvas, 0, 0);
    const {data} = pen.getImageData(0, 0, copy.width, copy.height);
    let blue = 0, orange = 0, sum = 0;
    for (let i = 0; i < data.length; i += 4) {
      if (data[i + 2] - data[i] > 60) ++blue;
      if (data[i] - data[i + 2] > 60) ++orange;
      sum = (sum * 31 + data[i] + 7 * data[i + 1] + 13 * data[i + 2]) % 1_000_000_007;
    }
    return {blue, orange, sum};
  });
  await page.$eval('#body-title', (n) => n.scrollIntoView());
  await page.waitForSelector('canvas.body-3d');
  const first = await count();
  assert.ok(first.blue > 20 && first.orange > 20, JSON.stringify(first));
  await page.focus('canvas.body-3d');
  await page.keyboard.press('ArrowLeft');
  assert.notEqual((await count()).sum, first.sum);
  no_fault(page);
  await page.close();
});

test('without WebGL a picture stands in its place', async () => {
  const plain = await launch([...common, '--disable-gpu', '--disable-3d-apis']);
  try {
    const page = await open(report_of('defects'), laptop, plain);
    await page.$eval('#body-title', (n) => n.scrollIntoView());
    await page.waitForSelector('.fallback img');
    assert.equal((await page.$$('canvas.body-3d')).length, 0);
    assert.ok(await page.$eval('.fallback img', async (image) => {
      await image.decode();
      return image.naturalWidth > 300 && image.alt.length > 20;
    }));
    assert.deepEqual(page.faults.filter((f) => !/WebGL/.test(f)), []);
  } finally {
    await plain.close();
  }
});

test('nothing scrolls sideways at 390 pixels, whatever the names', async () => {
  for (const kind of ['defects', 'hostile', 'undecided', 'inch', 'long', 'empty']) {
    const page = await open(report_of(kind), phone);
    for (const id of ['bench', 'client', 'trust']) {
      await view(page, id);
      const wide = await page.evaluate(() => document.documentElement.scrollWidth);
      assert.ok(wide <= 390, `${kind}, ${id}: ${wide} px`);
    }
    no_fault(page);
    await page.close();
  }
});

test('hostile names are text', async () => {
  const report = report_of('hostile');
  const page = await open(report);
  for (const id of ['client', 'trust', 'bench']) await view(page, id);
  assert.equal(await page.evaluate(() => window.hit), undefined);
  assert.equal(await page.$eval('h1', (n) => n.textContent), report.results.instrument);
  assert.ok(report.results.instrument.length > 10_000);
  const elements = await page.evaluate(() => ({images: document.querySelectorAll('#page img').length, scripts: document.querySelectorAll('script:not([type])').length}));
  assert.deepEqual(elements, {images: 0, scripts: 1});
  no_fault(page);
  await page.close();
});

test('axe finds no violation in any view', async () => {
  for (const [kind, viewport] of [['defects', laptop], ['undecided', phone], ['sound', laptop], ['empty', laptop]]) {
    const page = await open(report_of(kind), viewport);
    await page.evaluate(axe_source);
    for (const id of ['bench', 'client', 'trust']) {
      await view(page, id);
      const found = await page.evaluate(() => window.axe.run(document, {resultTypes: ['violations']}));
      assert.deepEqual(found.violations.map((v) => `${v.id}: ${v.nodes.map((n) => n.target.join(' ')).slice(0, 3)}`), [], `${kind}, ${id}`);
    }
    await page.close();
  }
});

test('prints to clean pages: nothing reaches beyond the paper', async () => {
  const page = await open(report_of('defects'));
  for (const [format, id] of [['A4', 'bench'], ['Letter', 'client'], ['A4', 'trust']]) {
    await view(page, id);
    const file = join(out, `print-${id}.pdf`);
    writeFileSync(file, await page.pdf({format, printBackground: true}));
    const text = execFileSync('pdftotext', ['-layout', file, '-'], {encoding: 'utf8'});
    const pages = Number(execFileSync('pdfinfo', [file], {encoding: 'utf8'}).match(/Pages:\s+(\d+)/)[1]);
    if (id === 'client') assert.equal(pages, 1, 'the client\u2019s view is one page');
    if (id === 'bench') {
      assert.match(text, /lower the cutter/);
      assert.match(text, /hand check/);
      assert.ok(pages <= 10, `${pages} pages`);
    }
  }
  // On paper the page is drawn for the width of the paper; every drawing then fits it.
  await view(page, 'bench');
  await page.emulateMediaType('print');
  await page.setViewport({width: 680, height: 900});
  await page.evaluate(() => dispatchEvent(new Event('beforeprint')));
  const cut = await page.$$eval('#panel-bench svg, #panel-bench canvas, #panel-bench table', (nodes) => nodes.filter((n) => n.getBoundingClientRect().right > 681).map((n) => n.getAttribute('class')));
  assert.deepEqual(cut, []);
  no_fault(page);
  await page.close();
});

test('opens on the client\u2019s page when asked, without bench talk', async () => {
  const page = await open(report_of('client'));
  assert.equal(await page.evaluate(() => document.body.dataset.view), 'client');
  const text = await page.$eval('#panel-client', (n) => n.innerText);
  assert.equal((await page.$$('.figure')).length, 3);
  for (const word of [/U95/, /cutter/i, /tolerance/i, /undecided/i, /\bfail/i]) assert.doesNotMatch(text, word);
  await page.close();
});

test('inch plans are read in inches', async () => {
  const page = await open(report_of('inch'));
  const text = await page.$eval('#panel-bench', (n) => n.innerText);
  assert.match(text, /\d\.\d{3} in too deep/);
  assert.doesNotMatch(text, /\d mm\b/);
  await page.close();
});
