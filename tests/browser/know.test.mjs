// SPDX-License-Identifier: GPL-3.0-or-later
// The pages of knowledge with the demo club: a tape, a deck, sheets. What they say, how they hold up narrow, in the dark, on paper, for axe.
import test, { after, before } from 'node:test';
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { assertAccessible, assertClean, assertNoSideways, desk, json, launch, openPage, small, startDaemon } from './help.mjs';

let browser, daemon;
before(async () => { [browser, daemon] = await Promise.all([launch(), startDaemon()]); });
after(async () => { await browser.close(); await daemon.stop(); });

const open = async (path, wait, options = desk) => {
    const page = await openPage(browser, daemon.address, path, options);
    await page.waitForSelector(wait);
    await page.waitForLoadState('networkidle');
    return page;
};
const close = async (page) => { assertClean(page, daemon.address); await page.context().close(); };
const fold = async (page) => { for (const details of await page.locator('details').all()) await details.evaluate((node) => { node.open = true; }); };

// Letters of every drawing as they stand on the screen, px.
const letters = (page) => page.evaluate(() => [...document.querySelectorAll('svg.chart text')].map((node) => {
    const svg = node.closest('svg');
    return parseFloat(getComputedStyle(node).fontSize) * svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
}));

const looks = [
    ['stock.html?stock=velnar-chrome-90', '#neighbours svg.chart'],
    ['deck.html?deck=attic-k71', '#course svg.chart'],
    ['deck.html?deck=club-bench', '#services svg.chart'],
    ['sheet.html?deck=club-bench', '#sheet li'],
    ['sheet.html?stock=ostrel-f-90', '#sheet li'],
    ['sheet.html?deck=club-bench&stock=ostrel-f-90', '.boxnote'],
];

test('narrow and in the dark: no sideways scrolling, nothing for axe, letters of at least 12 px', async () => {
    for (const options of [{ ...small, colorScheme: 'light' }, { ...desk, colorScheme: 'dark' }])
        for (const [path, wait] of looks) {
            const page = await open(path, wait, options);
            await fold(page);
            await assertNoSideways(page, path);
            await assertAccessible(page, `${path}, ${options.colorScheme}`);
            const sizes = await letters(page);
            if (!path.startsWith('sheet')) assert.ok(sizes.length > 10, `${path} has drawings`);
            for (const size of sizes) assert.ok(size >= 12, `${path}: letters of ${size} px`);
            await close(page);
        }
});

test('ids of several drawings on one page do not meet', async () => {
    const page = await open('deck.html?deck=club-bench', '#services svg.chart');
    const ids = await page.evaluate(() => [...document.querySelectorAll('[id]')].map((node) => node.id));
    assert.equal(new Set(ids).size, ids.length);
    await close(page);
});

test('the deck that changed: since when, how much, which half, what to check', async () => {
    const page = await open('deck.html?deck=attic-k71', '#course .problem');
    assert.match(await page.textContent('#verdict .words'), /It is the deck/);
    assert.match(await page.textContent('#verdict'), /clean heads/);
    assert.match(await page.textContent('#verdict'), /common practice/);
    assert.match(await page.textContent('#course .problem'), /less bias since between 2025-11-11 and 2025-12-13.*playback checks stayed: the record side/s);
    await close(page);
});

test('the stock that is not what its label says, and one that is', async () => {
    let page = await open('stock.html?stock=velnar-chrome-90', '#found .problem');
    assert.match(await page.textContent('#found .problem'), /Not what its label says.*rather like Type I,/s);
    await close(page);
    page = await open('stock.html?stock=ostrel-f-90', '#found .facts');
    assert.equal(await page.locator('#found .problem').count(), 0);
    assert.match(await page.textContent('#found .words'), /dB.*±.*results by \d+ members on \d+ decks/s);
    assert.match(await page.textContent('#neighbours'), /Ostrel F 60/);
    await page.selectOption('#k-within', '0.25');
    await page.waitForFunction(() => !document.querySelector('#neighbours').hasAttribute('aria-busy'));
    await close(page);
});

test('a service and a check are logged from the deck’s page, wrong numbers are said', async () => {
    const page = await open('deck.html?deck=corvin-spare', '#services');
    await page.click('summary:text("Log a service")');
    await page.selectOption('#v-kind', 'realigned');
    assert.ok(await page.isChecked('#v-resets'), 'a realigned deck stands elsewhere');
    await page.fill('#v-day', '2026-10-01');
    await page.fill('#v-bias', '1,5,2');
    await page.click('#service button.main');
    await page.waitForSelector('#service-said .problem');
    await page.fill('#v-bias', '-0,5');
    await page.fill('#v-due', '2026-10-20');
    await page.click('#service button.main');
    await page.waitForSelector('#service-said .receipt');
    await page.waitForSelector('#services td:text("realigned")');
    assert.match(await page.textContent('#services'), /2026-10-20/);
    await page.click('summary:text("Log a check")');
    await page.fill('#c-day', '2026-10-02');
    await page.fill('#c-low', '0');
    await page.fill('#c-high', '-0.3');
    await page.click('#check button.main');
    await page.waitForSelector('#check-said .receipt');
    await page.waitForSelector('#checks td:text("playback")');
    const { services } = await (await fetch(`${daemon.address}api/decks/corvin-spare/services`)).json();
    assert.equal(services.length, 1);
    assert.equal(services[0].bias_shift_db, -0.5);
    assert.equal(services[0].resets, true);
    await close(page);
});

test('the inside preset follows the tapes chosen', async () => {
    const page = await open('deck.html?deck=perrin-kitchen', '#shift .words');
    const boxes = await page.locator('#tapes input').all();
    for (const box of boxes) await box.uncheck();
    await page.waitForSelector('#shift :text("Choose the tapes")');
    await boxes[0].check();
    await page.waitForSelector('#shift table tbody tr');
    assert.equal(await page.locator('#shift table tbody tr').count(), 1);
    await close(page);
});

test('a sheet on paper: each entry whole, a sentence and a ruler, black on white; its order and its address follow the choice', async () => {
    const page = await open('sheet.html?deck=club-bench', '#sheet li', { ...desk, colorScheme: 'dark' });
    const entries = await page.locator('#sheet li').count();
    for (const format of ['A4', 'Letter']) {
        const pdf = (await page.pdf({ format })).toString('latin1');
        assert.ok(pdf.match(/\/Type\s*\/Page[^s]/g).length <= Math.ceil(entries / 8), `${format}: at least eight entries a page`);
    }
    await page.emulateMedia({ media: 'print' });
    const paint = await page.evaluate(() => { const style = getComputedStyle(document.querySelector('#sheet p')); return [style.color, getComputedStyle(document.documentElement).backgroundColor, getComputedStyle(document.querySelector('#choose')).display]; });
    assert.deepEqual(paint, ['rgb(0, 0, 0)', 'rgb(255, 255, 255)', 'none']);
    await page.emulateMedia({ media: 'screen' });
    assert.equal(await page.locator('#sheet .ruler').count(), 2 * entries);
    assert.equal(await page.locator('#sheet table').count(), 0);
    const first = () => page.textContent('#sheet li h2');
    const before = await first();
    await page.selectOption('#h-sort', 'bias');
    await page.waitForFunction((was) => document.querySelector('#sheet li h2').textContent !== was, before);
    assert.match(page.url(), /sort=bias/);
    assert.doesNotMatch(await page.textContent('#sheet'), /[^\w]-\d/, 'a real minus sign');
    await close(page);
});

test('the pages word a dial’s reading as the daemon does', async () => {
    const { place } = await import(`data:text/javascript,${encodeURIComponent(readFileSync(new URL('../../static/numbers.js', import.meta.url), 'utf8'))}`);
    const { decks } = await json(daemon.address, 'api/decks?limit=500');
    let compared = 0;
    for (const deck of decks) {
        const { rows } = await json(daemon.address, `api/decks/${deck.id}/sheet?logged=1`);
        for (const row of rows)
            for (const which of ['bias', 'level']) {
                if (row[which].dial === null) continue;
                const said = row[which].words.split(': ')[0].replace(/^at (?!the centre)/, '').replace(' from centre', '').replaceAll("o'clock", 'o’clock');
                const words = place(deck[`${which}_dial`], row[which].dial);
                assert.ok(said === words || / from [0-9]/.test(said), `${deck.id}: ${words} where the daemon says ${said}`);
                compared++;
            }
    }
    assert.ok(compared > 200);
});

test('a note for the cassette box is sentences', async () => {
    const page = await open('sheet.html?deck=club-bench&stock=ostrel-f-90', '.boxnote');
    assert.match(await page.textContent('.boxnote'), /Ostrel F 90.*on Club bench.*Bias: clockwise .*marks.*more bias.*Nine results in ten/s);
    await close(page);
});

test('from a tape to the bench: the choice goes along', async () => {
    const page = await open('stock.html?stock=ostrel-k-60', '#found .next');
    await page.click('#found .next a:text("Where to start with it")');
    await page.waitForSelector('#s-stock option[value="ostrel-k-60"]', { state: 'attached' });
    assert.equal(await page.inputValue('#s-stock'), 'ostrel-k-60');
    await close(page);
});
