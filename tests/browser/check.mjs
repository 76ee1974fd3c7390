// Opens reports in a real browser and looks at what a reader meets: the page is
// valid, nothing is fetched, everybody can use it, it sorts, filters and prints.
// Usage: node check.mjs REPORT_FOLDER…   (the first one is the sample fleet's)
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import path from 'node:path';
import { pathToFileURL } from 'node:url';
import Ajv from 'ajv/dist/2020.js';
import addFormats from 'ajv-formats';
import { HtmlValidate, FileSystemConfigLoader, esmResolver } from 'html-validate';
import { chromium } from 'playwright-core';

const require = createRequire(import.meta.url);
const axeSource = readFileSync(require.resolve('axe-core/axe.min.js'), 'utf8');
const folders = process.argv.slice(2);
assert.ok(folders.length > 0, 'name a report folder');

const validator = new HtmlValidate(new FileSystemConfigLoader([esmResolver()]));
let checks = 0;
const passed = (what) => { checks += 1; console.log(`  ${what}`); };

const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium',
  headless: true,
  args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run',
    '--disable-background-networking', '--disable-component-update', '--disable-sync'],
});

async function open(folder, options = {}) {
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, bypassCSP: true, ...options });
  const page = await context.newPage();
  const url = pathToFileURL(path.resolve(folder, 'index.html')).href;
  const seen = { url, requests: [], faults: [] };
  page.on('request', (r) => seen.requests.push(r.url()));
  page.on('pageerror', (e) => seen.faults.push(String(e)));
  page.on('console', (m) => { if (m.type() === 'error') seen.faults.push(m.text()); });
  page.on('dialog', (d) => { seen.faults.push(`dialog: ${d.message()}`); d.dismiss(); });
  await page.goto(url, { waitUntil: 'load' });
  return { context, page, seen };
}

async function accessible(page, how) {
  await page.evaluate(() => document.querySelectorAll('details').forEach((d) => { d.open = true; }));
  await page.evaluate(axeSource);
  const result = await page.evaluate(() => window.axe.run(document, { resultTypes: ['violations'] }));
  const told = result.violations.map((v) => `${v.id} (${v.impact}): ${v.nodes.length} × ${v.nodes[0].html.slice(0, 160)}`);
  assert.deepEqual(told, [], `axe-core, ${how}`);
}

const visible = (page) => page.locator('#vans-table tbody tr:visible').evaluateAll((rows) => rows.map((r) => ({
  van: r.cells[0].textContent, state: r.dataset.state, district: r.dataset.district, days: r.dataset.days,
})));
const isSorted = (list, up) => list.every((v, i) => i === 0 || (up ? list[i - 1] <= v : list[i - 1] >= v));

async function checkReport(folder) {
  console.log(folder);
  const file = path.resolve(folder, 'index.html');
  const report = await validator.validateFile(file);
  const faults = report.results.flatMap((r) => r.messages.map((m) => `${m.line}:${m.column} ${m.ruleId}: ${m.message}`));
  assert.deepEqual(faults.slice(0, 10), [], 'valid HTML');
  passed('valid HTML');

  const schema = JSON.parse(readFileSync(path.resolve(folder, 'assessment.schema.json'), 'utf8'));
  const ajv = new Ajv({ strict: true, allowUnionTypes: true });
  addFormats(ajv);
  const fits = ajv.compile(schema);
  const data = JSON.parse(readFileSync(path.resolve(folder, 'assessment.json'), 'utf8'));
  assert.ok(fits(data), ajv.errorsText(fits.errors));
  passed('assessment.json is what its schema says');

  // as it is opened by a reader, its own policy in force
  {
    const { context, page, seen } = await open(folder, { bypassCSP: false });
    assert.deepEqual(seen.requests, [seen.url], 'nothing is fetched');
    assert.deepEqual(seen.faults, [], 'no faults on opening');
    assert.equal(await page.locator('h1').count(), 1);
    const vans = data.vans.length;
    assert.equal(await page.locator('#vans-table tbody tr').count(), vans);
    assert.equal(await page.locator('article.van').count(), vans);
    if (vans > 0) {
      assert.ok(await page.locator('#controls').isVisible(), 'the script runs under the policy');
      assert.equal(await page.locator('#shown').textContent(), `${vans} of ${vans} ${vans === 1 ? 'van' : 'vans'} shown`);
      await usable(page, vans);
    }
    await context.close();
    passed('opens, fetches nothing, sorts and filters');
  }
  for (const width of [320, 390, 768]) {
    const { context, page } = await open(folder, { viewport: { width, height: 800 } });
    const [inner, room] = await page.evaluate(() => [document.documentElement.scrollWidth, document.documentElement.clientWidth]);
    assert.ok(inner <= room, `no sideways scrolling at ${width} px: ${inner} > ${room}`);
    await context.close();
  }
  passed('fits screens of 320, 390 and 768 px');

  for (const [how, options] of [
    ['light', { colorScheme: 'light' }],
    ['dark', { colorScheme: 'dark' }],
    ['phone, dark', { colorScheme: 'dark', viewport: { width: 390, height: 800 } }],
    ['more contrast asked for', { contrast: 'more' }],
  ]) {
    const { context, page } = await open(folder, options);
    await accessible(page, how);
    const paper = await page.evaluate(() => getComputedStyle(document.body).backgroundColor);
    assert.equal(paper, how.includes('dark') ? 'rgb(20, 25, 31)' : 'rgb(255, 255, 255)', `paper, ${how}`);
    await context.close();
  }
  passed('axe-core finds nothing: light, dark, on a phone, high contrast');

  {
    const { context, page } = await open(folder, { colorScheme: 'dark' });
    await page.emulateMedia({ media: 'print', colorScheme: 'dark' });
    const paper = await page.evaluate(() => getComputedStyle(document.body).backgroundColor);
    assert.equal(paper, 'rgb(255, 255, 255)', 'printed on white, whatever the screen is');
    assert.ok(!(await page.locator('nav').isVisible()), 'no navigation on paper');
    if (data.vans.length > 0) {
      assert.ok(!(await page.locator('#controls').isVisible()), 'no controls on paper');
      const ink = await page.evaluate(() => getComputedStyle(document.querySelector('.drawing text')).fill);
      const [r, g, b] = ink.match(/\d+/g).map(Number);
      assert.ok(r + g + b < 384, `dark ink on paper, not ${ink}`);
    }
    const pdf = await page.pdf({ format: 'A4' });
    assert.equal(pdf.subarray(0, 5).toString(), '%PDF-');
    assert.ok(pdf.length > 10_000, 'something is printed');
    const pages = pdf.toString('latin1').match(/\/Type\s*\/Page\b/g)?.length ?? 0;
    // a fleet of a dozen goes on two sheets
    if (data.vans.length <= 12) assert.ok(pages >= 1 && pages <= 2, `${pages} pages printed`);
    await context.close();
    passed(`prints (${Math.round(pdf.length / 1024)} kB as PDF)`);
  }
  {
    const { context, page } = await open(folder, { javaScriptEnabled: false });
    if (data.vans.length > 0) {
      assert.ok(await page.locator('#vans-table').isVisible());
      assert.ok(!(await page.locator('#controls').isVisible()), 'no dead controls without a script');
    }
    await context.close();
    passed('can be read without a script');
  }
}

async function usable(page, vans) {
  const head = (name) => page.locator('#vans-table thead button', { hasText: name });
  const sortOf = (name) => page.locator('#vans-table th', { has: page.locator('button', { hasText: name }) }).getAttribute('aria-sort');
  const known = (rows, key) => rows.map((r) => r[key]).filter((v) => v !== '').map(Number);

  await head('Days left').click();
  assert.equal(await sortOf('Days left'), 'ascending');
  let rows = await visible(page);
  assert.equal(rows.length, vans);
  assert.ok(isSorted(known(rows, 'days'), true), 'days left, fewest first');
  await head('Days left').click();
  assert.equal(await sortOf('Days left'), 'descending');
  rows = await visible(page);
  assert.ok(isSorted(known(rows, 'days'), false), 'days left, most first');
  const unknownFrom = rows.findIndex((r) => r.days === '');
  assert.ok(unknownFrom < 0 || rows.slice(unknownFrom).every((r) => r.days === ''), 'the unknown last');
  await head('State').focus();
  await page.keyboard.press('Enter');
  assert.equal(await sortOf('Days left'), null);
  rows = await visible(page);
  assert.ok(isSorted(known(rows, 'state'), true), 'state by keyboard, most urgent first');
  await head('Van').click();
  rows = await visible(page);
  const names = rows.map((r) => r.van);
  assert.deepEqual(names, [...names].sort((a, b) => a.localeCompare(b, 'en', { numeric: true })));

  const shows = async (fit, what) => {
    const now = await visible(page);
    assert.ok(now.every(fit), what);
    assert.equal(now.length, rows.filter(fit).length, what);
    assert.equal(await page.locator('article.van:visible').count(), now.length, `${what}: their parts too`);
    assert.match(await page.locator('#shown').textContent(), new RegExp(`^${now.length} of ${vans} vans? shown$`));
  };
  const state = rows[0].state;
  await page.locator('#by-state').selectOption(state);
  await shows((r) => r.state === state, 'by state');
  await page.locator('#show-all').click();
  const district = rows[rows.length - 1].district;
  await page.locator('#by-district').selectOption(district);
  await shows((r) => r.district === district, 'by district');
  await page.locator('#by-days').selectOption('30');
  await shows((r) => r.district === district && r.days !== '' && Number(r.days) <= 30, 'by district and days left');
  await page.locator('#show-all').click();
  await page.locator('#by-name').pressSequentially(rows[0].van.slice(0, 8).toLowerCase());
  const typed = rows[0].van.slice(0, 8).toLowerCase().trim();
  await shows((r) => r.van.toLowerCase().includes(typed), 'by name');
  await page.locator('#show-all').click();
  assert.equal((await visible(page)).length, vans);

  // by keyboard alone: the skip link is first, every link of the table leads to its van
  await page.keyboard.press('Home');
  await page.evaluate(() => { document.activeElement.blur(); window.getSelection().removeAllRanges(); window.scrollTo(0, 0); });
  const link = page.locator('#vans-table tbody tr a').first();
  const target = await link.getAttribute('href');
  await link.focus();
  await page.keyboard.press('Enter');
  assert.equal(await page.evaluate(() => window.location.hash), target);
  assert.ok(await page.locator(target).isVisible());
}

try {
  for (const folder of folders) {
    await checkReport(folder);
  }
  console.log(`${folders.length} reports, ${checks} groups of checks passed`);
} finally {
  await browser.close();
}
