// SPDX-License-Identifier: GPL-3.0-or-later
// What the browser tests share: the daemon with its demo club, a browser, pages that note every error and every request, and axe.
import { spawn, execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import assert from 'node:assert/strict';
import { chromium } from 'playwright-core';
import { AxeBuilder } from '@axe-core/playwright';

const binary = process.env.BIASBOOK ?? new URL('../../build/biasbook', import.meta.url).pathname;
const flags = ['--headless', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync',
    ...(process.getuid() === 0 ? ['--no-sandbox'] : [])];

export const launch = () => chromium.launch({ executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium', args: flags });

// Starts the daemon and waits for the address it prints; → { address, stop }.
async function start(args) {
    const daemon = spawn(binary, [...args, '--listen', '127.0.0.1:0'], { stdio: ['ignore', 'pipe', 'pipe'] });
    let said = '';
    const address = await new Promise((resolve, reject) => {
        const timer = setTimeout(() => reject(new Error(`the daemon did not get ready: ${said}`)), 60000);
        daemon.stdout.on('data', (chunk) => {
            said += chunk;
            const found = said.match(/http:\/\/[0-9.:[\]a-z]+:\d+/);
            if (found) clearTimeout(timer), resolve(`${found[0]}/`);
        });
        daemon.stderr.on('data', (chunk) => { said += chunk; });
        daemon.on('exit', (code) => { clearTimeout(timer); reject(new Error(`the daemon ended with ${code}: ${said}`)); });
    });
    return { address, stop: () => new Promise((resolve) => { daemon.removeAllListeners('exit'); daemon.on('exit', resolve); daemon.kill('SIGTERM'); }) };
}

// The demo club, open to all. BIASBOOK_ADDRESS names one that runs already.
export function startDaemon() {
    if (process.env.BIASBOOK_ADDRESS) return { address: process.env.BIASBOOK_ADDRESS, stop: () => {} };
    return start(['demo']);
}

// A new club with nothing in it but its first steward; → { address, key, stop }.
export async function startClub(more = []) {
    const folder = mkdtempSync(join(tmpdir(), 'biasbook-pages-'));
    const file = join(folder, 'club.db');
    const key = execFileSync(binary, ['init', '--db', file], { encoding: 'utf8' }).trim().split('\n').pop();
    const daemon = await start(['serve', '--db', file, ...more]);
    return { ...daemon, key, stop: async () => { await daemon.stop(); rmSync(folder, { recursive: true }); } };
}

export const phone = { viewport: { width: 390, height: 844 }, isMobile: true, hasTouch: true };
export const small = { viewport: { width: 320, height: 640 } };
export const desk = { viewport: { width: 1280, height: 900 } };

// A page that keeps count: faults (scripts, content policy) and where its requests went.
export async function openPage(browser, address, path = '', options = {}) {
    const context = await browser.newContext({ ...desk, ...options });
    const page = await context.newPage();
    page.faults = [];
    page.asked = [];
    page.on('pageerror', (error) => page.faults.push(error.stack));
    page.on('console', (message) => {
        // A refused request is the page's business, not a fault of its script.
        if (message.type() === 'error' && !/Failed to load resource/.test(message.text())) page.faults.push(message.text());
    });
    page.on('request', (request) => page.asked.push(request));
    if (address) await page.goto(address + path);
    return page;
}

export function assertClean(page, address) {
    assert.deepEqual(page.faults, [], 'faults on the page');
    for (const request of page.asked) assert.ok(request.url().startsWith(address), `a request left the house: ${request.url()}`);
}

export async function assertAccessible(page, what) {
    const { violations } = await new AxeBuilder({ page }).analyze();
    assert.deepEqual(violations.map((one) => `${one.id}: ${one.nodes.map((node) => node.html).join(' | ')}`), [], `axe on ${what}`);
}

export async function assertNoSideways(page, what) {
    const over = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
    assert.equal(over, 0, `${what} scrolls sideways by ${over} px`);
}

export const json = async (address, path) => (await fetch(address + path)).json();

// A deck and a tape of the demo club that fit: three heads, both dials, no own channels.
export async function pick(address, want = (deck) => deck.heads !== 2 && deck.bias_dial && deck.level_dial && !deck.per_channel && deck.medium === 'cassette') {
    const { decks } = await json(address, 'api/decks?limit=500');
    const { stocks } = await json(address, 'api/stocks?limit=500');
    const deck = decks.find(want);
    assert.ok(deck, 'the demo club has a deck of this kind');
    const stock = stocks.find((one) => (one.medium ?? (one.class.startsWith('reel') ? 'reel' : 'cassette')) === deck.medium);
    return { deck, stock };
}

export async function choose(page, prefix, deck, stock) {
    await page.waitForSelector(`#${prefix}-deck option[value="${deck.id}"]`, { state: 'attached' });
    await page.selectOption(`#${prefix}-deck`, deck.id);
    await page.selectOption(`#${prefix}-stock`, stock.id);
}

export const middle = (dial) => Math.round((dial.low + dial.high) / 2);
