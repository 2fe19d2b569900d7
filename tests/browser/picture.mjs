// SPDX-License-Identifier: GPL-2.0-or-later
// The picture of a page in the README. usage: node picture.mjs OUT STEM FILE.png WORK_FOLDER
import path from 'node:path';
import { createRequire } from 'node:module';

const [out, stem, file, work] = process.argv.slice(2);
const require = createRequire(path.join(path.resolve(work), 'node_modules', 'x'));
const { chromium } = require('playwright-core');
const browser = await chromium.launch({ executablePath: process.env.CHROMIUM || '/usr/bin/chromium', args: ['--no-sandbox', '--disable-gpu'] });
const page = await browser.newPage({ viewport: { width: 1100, height: 1000 }, colorScheme: 'light' });
await page.goto('file://' + path.resolve(out, 'report', stem + '.html').split('/').map(encodeURIComponent).join('/'));
await page.waitForFunction(() => ['before', 'after'].every(s => document.getElementById(s).readyState >= 2));
await page.evaluate(() => { player.seek(13); });
await page.waitForTimeout(500);
const bottom = await page.evaluate(() => document.getElementById('picture').getBoundingClientRect().bottom + 16);
await page.screenshot({ path: file, fullPage: true, clip: { x: 0, y: 0, width: 1100, height: bottom } });
await browser.close();
