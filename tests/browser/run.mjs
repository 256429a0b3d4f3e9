// Runs the tests of tests.mjs one after the other and counts them.

import { chromium } from 'playwright-core';
import { execFileSync } from 'node:child_process';
import { tests } from './tests.mjs';

const { PROGRAM, DEMO, WORK, SHOTS } = process.env;
// No network, no first-run chatter: the page must need none of it.
const QUIET = ['--headless', '--no-sandbox', '--disable-gpu', '--no-first-run',
  '--disable-background-networking', '--disable-component-update', '--disable-sync'];

const browser = await chromium.launch({ executablePath: '/usr/bin/chromium', args: QUIET });

/** Runs the program; its stdout. */
const program = (...words) => execFileSync(PROGRAM, words, { cwd: DEMO, encoding: 'utf8', stdio: ['ignore', 'pipe', 'ignore'] });

const made = new Map();
/** The page of a file, made once; its path. */
function made_page(file, ...options) {
  const key = [file, ...options].join(' ');
  if (!made.has(key)) {
    const path = `${WORK}/page-${made.size}.html`;
    program('preview', file, '-o', path, ...options);
    made.set(key, path);
  }
  return made.get(key);
}

/** Opens a page file; `heard` gathers what it says and asks for. */
async function open(path, options = {}) {
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, ...options });
  const page = await context.newPage();
  page.heard = [];
  page.on('console', message => page.heard.push('console: ' + message.text()));
  page.on('pageerror', error => page.heard.push('error: ' + error.message));
  page.on('request', request => { if (request.url() !== 'file://' + path) page.heard.push('request: ' + request.url()); });
  await page.goto('file://' + path);
  await settled(page);
  return page;
}

/** Waits until nothing more is being drawn. */
const settled = page => page.waitForFunction(() => sheet.canvas.dataset.settled === 'true' && !sheet.asked, null, { timeout: 20000 });

/** A number for what the sheet shows: changes with any pixel. */
async function pixels(page) {
  await page.evaluate(() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done))));
  await settled(page);
  return page.evaluate(() => {
    const { canvas, context } = sheet, data = new Uint32Array(context.getImageData(0, 0, canvas.width, canvas.height).data.buffer);
    let hash = 2166136261;
    for (let i = 0; i < data.length; i++) hash = Math.imul(hash ^ data[i], 16777619);
    return hash;
  });
}

const shot = async (page, name) => { if (SHOTS) await page.screenshot({ path: `${SHOTS}/${name}.png` }); };

let passed = 0, failed = 0;
for (const [name, test] of Object.entries(tests)) {
  try {
    await test({ open, settled, pixels, program, made_page, shot, work: WORK });
    passed++;
    console.log(`ok      ${name}`);
  } catch (error) {
    failed++;
    console.log(`FAILED  ${name}\n        ${error.stack.split('\n').slice(0, 4).join('\n        ')}`);
  }
  await Promise.all(browser.contexts().map(context => context.close()));
}
await browser.close();
console.log(`${passed} passed, ${failed} failed`);
process.exit(failed ? 1 : 0);
