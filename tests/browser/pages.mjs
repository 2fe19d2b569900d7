// SPDX-License-Identifier: GPL-2.0-or-later
// The pages in a real browser (headless Chromium, from files). usage: node pages.mjs PROGRAM FIXTURES WORK_FOLDER
import fs from 'node:fs';
import http from 'node:http';
import path from 'node:path';
import { createRequire } from 'node:module';
import { execFileSync } from 'node:child_process';

const [program, fixtures, work] = process.argv.slice(2).map(p => path.resolve(p));
const require = createRequire(path.join(work, 'node_modules', 'x'));
const { chromium } = require('playwright-core');
const axe = fs.readFileSync(require.resolve('axe-core/axe.min.js'), 'utf8');

// Quotes, brackets, a tag, an emoji, a new line, a right-to-left override: all legal in a file's name.
const HOSTILE = 'a"b\'<img src=x onerror=alert(1)>&\n\u{1F41D}\u202E\u05D3\u05D1\u05E9';
const session = path.join(work, `hive ${HOSTILE.replace(/\//g, '')}`), out = session + '.tidy';
const takes = ['01.flac', `02 ${HOSTILE.replace(/\//g, '')}.flac`];
const run = (...args) => execFileSync(program, args, { encoding: 'utf8', stdio: ['ignore', 'pipe', 'pipe'] });
const urlOf = name => 'file://' + path.join(out, name).split('/').map(encodeURIComponent).join('/');
const stems = takes.map(t => t.replace(/\.flac$/, ''));
const reportOf = i => JSON.parse(fs.readFileSync(path.join(out, 'report', stems[i] + '.json'), 'utf8'));
const pageOf = i => 'report/' + stems[i] + '.html';

fs.rmSync(session, { recursive: true, force: true });
fs.rmSync(out, { recursive: true, force: true });
fs.mkdirSync(session, { recursive: true });
takes.forEach((name, i) => fs.copyFileSync(path.join(fixtures, 'session', `0${i + 1}.flac`), path.join(session, name)));
run('clean', session, '--quiet', '--set', 'misreads.action=ask'); // everything is asked about

const browser = await chromium.launch({ executablePath: process.env.CHROMIUM || '/usr/bin/chromium',
  args: ['--no-sandbox', '--disable-gpu', '--autoplay-policy=no-user-gesture-required'] });
let passed = 0, failed = 0;
const wrong = [];                 // console errors, dialogs and requests outside, of all pages
async function open(url, options = {}) {
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, acceptDownloads: true, ...options });
  const page = await context.newPage();
  page.on('console', m => { if (m.type() === 'error' || m.type() === 'warning') wrong.push(m.text()); });
  page.on('pageerror', e => wrong.push(e.message));
  page.on('dialog', d => { if (d.type() !== 'beforeunload') wrong.push('dialog: ' + d.message()); d.accept(); });
  page.on('request', r => { if (!/^(file|blob|data):/.test(r.url())) wrong.push('asked for ' + r.url()); });
  await page.goto(url);
  return page;
}
function same(is, wanted, what = '') { if (is !== wanted) throw new Error(`${what} is ${JSON.stringify(is)}, not ${JSON.stringify(wanted)}`); }
function holds(claim, what) { if (!claim) throw new Error(what); }
// What is measured against the clock may be tried again: another program may have held the machine up.
async function test(name, body, tries = 1) {
  if (process.env.ONLY && !name.includes(process.env.ONLY)) return;
  for (; tries > 1; tries--) try { await body(); passed++; console.log('  ok ' + name); return; } catch (e) { console.log('     once more: ' + e.message.split('\n')[0]); }
  try { await body(); passed++; console.log('  ok ' + name); } catch (e) { failed++; console.log('--- ' + name + '\n    ' + e.message.split('\n').slice(0, 4).join('\n    ')); }
}
const state = page => page.evaluate(() => Object.fromEntries(['before', 'after'].map(s => { const a = document.getElementById(s);
  return [s, { t: a.currentTime, volume: a.volume, paused: a.paused }]; })));
const ready = page => page.waitForFunction(() => ['before', 'after'].every(s => document.getElementById(s).readyState >= 2));
const median = list => list.slice().sort((a, b) => a - b)[list.length >> 1];

await test('pages open from files without an error and ask for nothing outside', async () => {
  for (const url of ['index.html', pageOf(0), pageOf(1)]) { const page = await open(urlOf(url)); await page.waitForTimeout(300); await page.context().close(); }
  same(wrong.join('; '), '', 'console');
});

await test('hostile names are shown as text and run nothing', async () => {
  const page = await open(urlOf('index.html'));
  const text = await page.locator('.takes').innerText();
  holds(text.includes('<img src=x onerror=alert(1)>'), 'the name is not shown: ' + text);
  same(await page.locator('img').count(), 0, 'images');
  same(await page.evaluate(() => document.querySelectorAll('.takes a').length), 2, 'links to takes');
  await page.locator('.takes a').nth(1).click();
  await page.waitForLoadState();
  holds((await page.locator('h1').innerText()).includes('onerror'), 'the page of the take did not open');
  await page.context().close();
});

await test('a script that is not the page\'s own is refused by its policy', async () => {
  const page = await open(urlOf('index.html'));
  const ran = await page.evaluate(() => { const s = document.createElement('script'); s.textContent = 'window.intruder = 1'; document.body.append(s); return window.intruder; });
  same(ran, undefined, 'intruder');
  wrong.length = 0; // the refusal is told on the console
  await page.context().close();
});

await test('a switch goes on within 20 ms of the same moment of the reading', async () => {
  const page = await open(urlOf(pageOf(0))), report = reportOf(0);
  await ready(page);
  const map = report.time_map.map(m => [m.source_start_frame / report.source.rate_hz, m.source_end_frame / report.source.rate_hz, m.out_start_frame / report.output.rate_hz]);
  await page.keyboard.press(' ');
  await page.waitForTimeout(900);
  await page.evaluate(map => {
    const a = document.getElementById('after'), b = document.getElementById('before');
    window.offs = [];
    let was = null;
    setInterval(() => {
      const now = b.volume > a.volume ? 'b' : 'a';
      if (was !== null && now !== was) for (const [s, e, o] of map) if (b.currentTime >= s + 0.02 && b.currentTime < e - 0.02) window.offs.push(Math.abs(o + b.currentTime - s - a.currentTime) * 1000);
      was = now;
    }, 3);
  }, map);
  for (let i = 0; i < 12; i++) { await page.keyboard.press('s'); await page.waitForTimeout(500 + 61 * i); }
  const offs = await page.evaluate(() => window.offs);
  holds(offs.length >= 6, 'only ' + offs.length + ' switches were seen');
  holds(Math.max(...offs) <= 20, 'off by ' + offs.map(o => o.toFixed(1)).join(', ') + ' ms');
  console.log('     offsets: median ' + median(offs).toFixed(1) + ' ms, most ' + Math.max(...offs).toFixed(1) + ' ms of ' + offs.length);
  await page.context().close();
}, 3);

await test('the louder side is turned down by the difference that the page shows', async () => {
  const page = await open(urlOf(pageOf(0)));
  await ready(page);
  const shown = (await page.locator('label:has(#match)').innerText()).match(/(before|after) turned down by ([\d.]+)/);
  await page.keyboard.press(' ');
  await page.waitForFunction(() => document.getElementById('after').volume > 0.01);
  await page.waitForTimeout(60);
  const after = (await state(page)).after.volume;
  await page.keyboard.press('s');
  await page.waitForFunction(() => document.getElementById('before').volume > 0.01 && document.getElementById('after').volume < 0.001);
  await page.waitForTimeout(60);
  const before = (await state(page)).before.volume, down = 20 * Math.log10(before / after) * (shown[1] === 'after' ? 1 : -1);
  holds(Math.abs(down - shown[2]) < 0.06, `volumes differ by ${down.toFixed(2)} dB, shown ${shown[2]}`);
  await page.locator('#match').uncheck();
  await page.waitForTimeout(50);
  holds(Math.abs((await state(page)).before.volume - 0.4) < 0.01, 'switched off, the volume is not that of the control');
  await page.context().close();
});

await test('playing, switching, stepping and seeking work by keys alone', async () => {
  const page = await open(urlOf(pageOf(0)));
  await ready(page);
  await page.keyboard.press(' ');
  await page.waitForTimeout(400);
  holds(!(await state(page)).after.paused, 'space does not play');
  await page.keyboard.press('ArrowRight');
  await page.waitForTimeout(100);
  holds((await state(page)).before.t > 2, 'the right arrow does not go on');
  await page.keyboard.press('d');
  await page.waitForTimeout(300);
  same(await page.locator('tr.now').count(), 1, 'marked rows');
  const row = await page.locator('tr.now').getAttribute('data-row');
  await page.keyboard.press('d');
  await page.waitForTimeout(100);
  holds(await page.locator('tr.now').getAttribute('data-row') !== row, 'd does not step');
  await page.keyboard.press(' ');
  await page.waitForTimeout(100);
  holds((await state(page)).after.paused && (await state(page)).before.paused, 'space does not stop');
  await page.context().close();
});

await test('what was stopped while a switch was under way stays silent', async () => {
  const page = await open(urlOf(pageOf(0)));
  await ready(page);
  await page.keyboard.press(' ');
  await page.waitForTimeout(300);
  await page.keyboard.press('s');
  await page.keyboard.press(' ');
  await page.waitForTimeout(900);
  const s = await state(page);
  holds(s.before.paused && s.after.paused, 'it goes on: ' + JSON.stringify(s));
  await page.context().close();
});

await test('a removed part is played out of the take, and nothing behind it', async () => {
  const page = await open(urlOf(pageOf(0))), index = reportOf(0).decisions.findIndex(d => d.end_s - d.start_s > 0.5), d = reportOf(0).decisions[index];
  await ready(page);
  await page.locator(`tr[data-row="${index}"] button[data-do=only]`).click();
  await page.waitForTimeout(150);
  const t = (await state(page)).before.t;
  holds(t >= d.start_s - 0.01 && t < d.end_s, `plays at ${t}, the part is ${d.start_s} to ${d.end_s}`);
  await page.waitForFunction(() => document.getElementById('before').paused, null, { timeout: (d.end_s - d.start_s + 2) * 1000 });
  holds((await state(page)).before.t < d.end_s + 0.1, 'it played past the end');
  await page.context().close();
}, 3);

// Source of the wanted values: the exact one-sided binomial distribution at one half, computed apart with whole numbers.
await test('the blind test\'s chances are the exact binomial ones', async () => {
  const page = await open(urlOf(pageOf(0)));
  const choose = (n, k) => { let c = 1n; for (let i = 1n; i <= k; i++) c = c * (n - i + 1n) / i; return c; };
  for (const n of [8n, 10n, 16n, 20n]) for (let c = 0n; c <= n; c++) {
    let sum = 0n;
    for (let k = c; k <= n; k++) sum += choose(n, k);
    const is = await page.evaluate(([a, b]) => chance(a, b), [Number(c), Number(n)]), wanted = Number(sum) / Number(2n ** n);
    holds(Math.abs(is - wanted) < 1e-12, `${c} of ${n}: ${is}, not ${wanted}`);
  }
  // The usual table at 5 %: 7 of 8, 9 of 10, 12 of 16, 15 of 20; one less is not enough.
  for (const [least, n] of [[7, 8], [9, 10], [12, 16], [15, 20]]) {
    holds((await page.evaluate(([a, b]) => verdict(a, b), [least, n])).includes('most likely'), `${least} of ${n}`);
    holds((await page.evaluate(([a, b]) => verdict(a, b), [least - 1, n])).includes('does not show'), `${least - 1} of ${n}`);
  }
  await page.context().close();
});

await test('the blind test plays both by lot, hides which, counts and gives a verdict', async () => {
  const page = await open(urlOf(pageOf(0)));
  await ready(page);
  await page.locator('#blind summary').click();
  await page.locator('#rounds').selectOption('8');
  await page.locator('#blind-begin').click();
  const heard = () => page.evaluate(() => document.getElementById('before').volume > document.getElementById('after').volume ? 'before' : 'after');
  const drawn = new Set();
  for (let i = 0; i < 8; i++) {
    await page.locator('#blind-x').click();
    await page.waitForTimeout(450);
    const x = await heard();
    drawn.add(x);
    same(await page.locator('#hear-before[aria-pressed=true],#hear-after[aria-pressed=true]').count(), 0, 'sides shown');
    if (i === 0) { await page.locator('#blind-b').click(); await page.waitForTimeout(450); same(await heard(), 'after', 'B'); }
    await page.locator(x === 'before' ? '#is-a' : '#is-b').click();
  }
  const said = await page.locator('#blind-said').innerText();
  holds(said.startsWith('8 of 8 right.') && said.includes('0.39 %') || said.includes('0.4 %'), said);
  await page.waitForTimeout(100);
  holds((await state(page)).before.paused, 'it goes on playing');
  await page.context().close();
});

await test('rows are filtered, found and sorted', async () => {
  const page = await open(urlOf(pageOf(0))), decisions = reportOf(0).decisions;
  const shown = () => page.locator('#rows tr:visible').count();
  same(await shown(), decisions.length, 'rows');
  await page.locator('button[data-kind=pause]').click();
  same(await shown(), decisions.filter(d => d.kind !== 'pause').length, 'rows without pauses');
  await page.locator('button[data-kind=pause]').click();
  await page.locator('#order').selectOption('long');
  const lengths = await page.locator('#rows tr').evaluateAll((rows, d) => rows.map(r => d[r.dataset.row].end_s - d[r.dataset.row].start_s), decisions);
  holds(lengths.every((l, i) => i === 0 || l <= lengths[i - 1] + 1e-9), 'not longest first');
  await page.locator('#search').fill('zzz nothing');
  same(await shown(), 0, 'rows found');
  await page.context().close();
});

await test('answers of the session page and changes of a take page become one file that the program takes up', async () => {
  const page = await open(urlOf('index.html'));
  const questions = await page.locator('#questions > li').count();
  holds(questions >= 2, questions + ' questions');
  await page.locator('.answer').nth(0).locator('[data-action=cut]').click();
  await page.locator('.answer').nth(1).locator('[data-action=keep]').click();
  same(await page.locator('#changed').innerText(), '2 decisions changed', 'told');
  await page.goto(urlOf(pageOf(1)));
  const index = reportOf(1).decisions.findIndex(d => d.kind === 'pause');
  await page.locator(`tr[data-row="${index}"] button[data-change]`).click();
  await page.locator(`tr[data-row="${index}"] select`).selectOption('keep');
  same(await page.locator('#changed').innerText(), '3 decisions changed', 'told on the other page');
  const [download] = await Promise.all([page.waitForEvent('download'), page.locator('#save').click()]);
  same(download.suggestedFilename(), await page.locator('#change-file').innerText(), 'file');
  await page.locator(`tr[data-row="${index}"] select`).selectOption('cut');
  holds(/^changes-[0-9a-f]{8}\.csv$/.test(download.suggestedFilename()) && download.suggestedFilename() !== await page.locator('#change-file').innerText(), 'other changes have the name of the first');
  const file = path.join(work, 'changes.csv');
  await download.saveAs(file);
  await page.context().close();
  run('clean', session, '--quiet', '--set', 'misreads.action=ask', '--changes', file);
  const mine = [0, 1].flatMap(i => reportOf(i).decisions.filter(d => d.by === 'me'));
  same(mine.map(d => d.action).sort().join(), 'cut,keep,keep', 'rows of a person');
  const again = await open(urlOf('index.html'));
  same(await again.locator('#questions > li').count(), questions - 2, 'questions left');
  same(await again.locator('#changes').isVisible(), false, 'old changes shown');
  await again.locator('#removed-list > li', { hasText: 'misread' }).first().getByRole('button', { name: /^put it back/ }).click(); // what was answered with 'cut'
  holds((await again.locator('#change-list').innerText()).includes('misread: cut \u2192 keep'), 'told: ' + await again.locator('#change-list').innerText());
  await again.context().close();
});

await test('questions are gone through, heard and answered by keys alone', async () => {
  const page = await open(urlOf('index.html')), now = page.locator('li.now'), pressed = page.locator('li.now [data-src][aria-pressed=true]');
  await page.keyboard.press('d');
  same(await now.innerText(), await page.locator('#questions > li').first().innerText(), 'the first');
  same(await pressed.innerText(), 'this part', 'heard');
  await page.keyboard.press('h');
  same(await pressed.innerText(), 'the other reading', 'heard otherwise');
  await page.keyboard.press(' ');
  same(await pressed.count(), 0, 'sounds after space');
  await page.keyboard.press(' ');
  same(await pressed.innerText(), 'the other reading', 'heard again');
  await page.keyboard.press('2');
  same(await page.locator('li.now .answer [aria-pressed=true]').getAttribute('data-action'), 'keep', 'answer');
  await page.keyboard.press('u');
  holds(await page.locator('#questions > li').first().evaluate(e => !e.classList.contains('now')), 'u does not step');
  await page.keyboard.press('d');
  await page.keyboard.press('d');
  await page.keyboard.press('1');
  same(await page.locator('#changed').innerText(), '2 decisions changed', 'told');
  await page.locator('#keys').uncheck();
  await page.keyboard.press('d');
  holds(await page.locator('#questions > li').nth(1).evaluate(e => e.classList.contains('now')), 'keys that are off step');
  await page.context().close();
});

await test('a question can be heard without the part that it is about', async () => {
  run('clean', session, '--quiet', '--set', 'misreads.action=ask', '--again');
  const page = await open(urlOf('index.html')), b = page.locator('button[data-hole]').first();
  if (await b.count() === 0) return;
  const [from, to] = (await b.getAttribute('data-hole')).split(' ').map(Number), end = +await b.getAttribute('data-to');
  holds(Math.abs(to + 2 - end) < 0.01 && from < to, `hole ${from} to ${to}, end ${end}`);
  await b.click();
  await page.waitForFunction(() => document.getElementById('said').textContent.startsWith('Playing'));
  await page.keyboard.press('Escape');
  await page.waitForTimeout(50);
  same(await page.locator('[aria-pressed=true]').count(), 0, 'pressed buttons');
  await page.context().close();
});

// OUT alone, from the plainest of servers: no parts of files, nothing beside them.
await test('with media = copy the pages work from a web server that sends no parts of files', async () => {
  const served = path.join(work, 'served'), kinds = { '.html': 'text/html', '.wav': 'audio/wav', '.flac': 'audio/flac', '.png': 'image/png' };
  fs.rmSync(served, { recursive: true, force: true });
  run('clean', path.join(fixtures, 'session'), '-o', served, '--quiet', '--set', 'report.media=copy');
  const server = http.createServer((request, answer) => {
    const file = path.join(served, decodeURIComponent(new URL(request.url, 'http://x').pathname));
    if (!fs.existsSync(file)) { answer.writeHead(404); answer.end(); return; }
    answer.writeHead(200, { 'content-type': kinds[path.extname(file)] || 'application/octet-stream' });
    answer.end(fs.readFileSync(file));
  });
  await new Promise(done => server.listen(0, '127.0.0.1', done));
  const origin = 'http://127.0.0.1:' + server.address().port;
  const context = await browser.newContext(), page = await context.newPage(), outside = [];
  page.on('request', r => { if (!r.url().startsWith(origin) && !r.url().startsWith('blob:' + origin)) outside.push(r.url()); });
  page.on('pageerror', e => outside.push(e.message));
  page.on('response', r => { if (r.status() === 404 && !r.url().endsWith('favicon.ico')) outside.push('missing: ' + r.url()); });
  await page.goto(origin + '/report/01.html');
  await page.waitForFunction(() => ['before', 'after'].every(s => document.getElementById(s).src.startsWith('blob:') && document.getElementById(s).readyState >= 2));
  await page.keyboard.press(' ');
  await page.waitForTimeout(400);
  for (const t of [9, 2]) { // back, too: that is what such a server does not allow
    await page.evaluate(t => player.seek(t), t);
    await page.waitForTimeout(400);
    const now = (await page.evaluate(() => player.now())).before;
    holds(now >= t - 0.05 && now < t + 3, `asked for ${t} s, is at ${now}`);
  }
  await page.keyboard.press('s');
  await page.waitForTimeout(500);
  holds(!(await page.evaluate(() => document.getElementById('before').paused)), 'the take does not play');
  await page.goto(origin + '/index.html');
  same(await page.locator('#removed-list button.gone').count(), 0, 'buttons for what is not there');
  same(outside.join('; '), '', 'asked for');
  await context.close();
  server.close();
}, 2);

// A recording and what was made of it, under a name that would be a tag.
const compared = path.join(work, 'compared');
fs.rmSync(compared, { recursive: true, force: true });
run('compare', path.join(session, takes[1]), path.join(out, 'voice', stems[1] + '.wav'), '-o', compared);
const urlOfCompared = 'file://' + compared.split('/').map(encodeURIComponent).join('/') + '/index.html';

await test('two recordings that were compared play at the same moment, and their names run nothing', async () => {
  const page = await open(urlOfCompared);
  await ready(page);
  holds((await page.locator('h1').innerText()).includes('<img src=x onerror=alert(1)>'), 'the name is not shown');
  same(await page.locator('img').count(), 0, 'images');
  await page.keyboard.press(' ');
  await page.waitForTimeout(700);
  await page.keyboard.press('s');
  await page.waitForTimeout(600);
  const s = await state(page), now = await page.evaluate(() => player.now());
  holds(!s.before.paused && s.before.volume > 0.01 && s.after.volume < 0.001, 'the switch did not come: ' + JSON.stringify(s));
  const map = await page.evaluate(() => player.map), piece = map.find(([a, b]) => now.before >= a && now.before < b);
  holds(!piece || Math.abs(piece[2] + now.before - piece[0] - now.after) < 0.001, 'not the same moment');
  same(await page.locator('button[data-change]').count(), 0, 'buttons that would change a sheet');
  await page.context().close();
}, 2);

await test('a take of which nothing was decided can be heard', async () => {
  const other = path.join(work, 'plain'), result = other + '.tidy';
  for (const f of [other, result]) fs.rmSync(f, { recursive: true, force: true });
  fs.mkdirSync(other);
  const wav = Buffer.alloc(44 + 2 * 16000 * 3); // three seconds of a steady room: nobody speaks
  wav.write('RIFF'); wav.writeUInt32LE(wav.length - 8, 4); wav.write('WAVEfmt ', 8);
  [[16, 4], [1, 2], [1, 2], [16000, 4], [32000, 4], [2, 2], [16, 2]].reduce((at, [value, bytes]) => wav.writeUIntLE(value, at, bytes), 16);
  wav.write('data', 36); wav.writeUInt32LE(wav.length - 44, 40);
  for (let at = 44, chance = 1; at < wav.length; at += 2) { chance = (Math.imul(chance, 1664525) + 1013904223) >>> 0; wav.writeInt16LE((chance >>> 25) - 64, at); }
  fs.writeFileSync(path.join(other, '01.wav'), wav);
  run('clean', other, '--quiet');
  const page = await open('file://' + result + '/report/01.html');
  same(await page.locator('#rows tr').count(), 0, 'rows');
  await ready(page);
  await page.keyboard.press(' ');
  await page.waitForTimeout(500);
  holds(!(await state(page)).after.paused, 'it does not play');
  await page.context().close();
});

for (const url of ['index.html', pageOf(0), null]) for (const scheme of ['light', 'dark']) {
  await test(`axe-core finds nothing wrong (${url === 'index.html' ? 'session' : url ? 'take' : 'comparison'}, ${scheme})`, async () => {
    const page = await open(url ? urlOf(url) : urlOfCompared, { colorScheme: scheme, bypassCSP: true });
    await page.evaluate(axe);
    const found = await page.evaluate(() => axe.run({ runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] }));
    same(found.violations.map(v => v.id + ' at ' + v.nodes[0].html.slice(0, 100)).join('; '), '', 'violations');
    await page.context().close();
  });
}

for (const width of [360, 1280, 2560]) for (const scheme of ['light', 'dark']) {
  await test(`nothing is wider than the window at ${width} px (${scheme})`, async () => {
    for (const [i, url] of [urlOf('index.html'), urlOf(pageOf(0)), urlOfCompared].entries()) {
      const page = await open(url, { viewport: { width, height: 1000 }, colorScheme: scheme });
      await page.waitForTimeout(200);
      same(Math.max(0, await page.evaluate(() => document.documentElement.scrollWidth - innerWidth)), 0, 'overhang in px of ' + url);
      await page.screenshot({ path: path.join(work, `shot-${['session', 'take', 'comparison'][i]}-${width}-${scheme}.png`), fullPage: true });
      await page.context().close();
    }
  });
}

await test('each page prints to two pages', async () => {
  for (const url of [urlOf('index.html'), urlOf(pageOf(0)), urlOfCompared]) {
    const page = await open(url);
    await page.waitForTimeout(200);
    const sheets = (await page.pdf({ format: 'A4' })).toString('latin1').match(/\/Type\s*\/Page\b(?!s)/g).length;
    holds(sheets >= 1 && sheets <= 2, `${sheets} sheets of ${url}`);
    await page.context().close();
  }
});

await test('every control can be reached by the tab key, and shows that it has the focus', async () => {
  for (const url of ['index.html', pageOf(0)]) {
    const page = await open(urlOf(url)), seen = new Set();
    const wanted = await page.evaluate(() => [...document.querySelectorAll('a[href],button,input,select,summary')].filter(e => !e.disabled && e.checkVisibility()).length);
    for (let i = 0; i < wanted + 20; i++) {
      await page.keyboard.press('Tab');
      const now = await page.evaluate(() => { const e = document.activeElement, s = getComputedStyle(e); e.dataset.seen = 'yes';
        return { tag: e.tagName, outline: e === document.body || e.tagName === 'AUDIO' ? 3 : parseFloat(s.outlineWidth) * (s.outlineStyle !== 'none') }; });
      holds(now.outline >= 2, 'no outline on ' + now.tag);
      seen.add(now.tag);
    }
    const missed = await page.evaluate(() => [...document.querySelectorAll('a[href],button,input,select,summary')].filter(e => !e.disabled && e.checkVisibility() && !e.dataset.seen).map(e => e.outerHTML.slice(0, 80)));
    same(missed.slice(0, 3).join('; '), '', 'never reached');
    await page.context().close();
  }
});

await test('no page said or asked for anything wrong in all of this', async () => same(wrong.join('; '), '', 'console'));
await browser.close();
console.log(`${passed} passed, ${failed} failed`);
process.exit(failed ? 1 : 0);
