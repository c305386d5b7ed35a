// SPDX-License-Identifier: GPL-3.0-or-later
// A tape on the bench, on a phone-sized page, against the demo club: from choosing to logged, without signal in the middle, and what can go another way.
import test, { after, afterEach, before } from 'node:test';
import assert from 'node:assert/strict';
import { assertAccessible, assertClean, assertNoSideways, choose, json, launch, openPage, phone, pick, small, startDaemon } from './help.mjs';

let browser, daemon, deck, stock, page;
before(async () => {
    daemon = await startDaemon(); browser = await launch();
    ({ deck, stock } = await pick(daemon.address));
});
after(async () => { await browser?.close(); await daemon?.stop(); });
afterEach(async () => {
    assertClean(page, daemon.address);
    await page.context().close();
});

const newest = async (of = deck) => (await json(daemon.address, `api/calibrations?deck=${of.id}&stock=${stock.id}&limit=500`)).calibrations;
async function begin(of = deck, tape = stock, options = phone) {
    page = await openPage(browser, daemon.address, 'bench.html', options);
    await choose(page, 'b', of, tape);
    await page.fill('#b-position', '4:00');
    await page.fill('#b-recordings', '3');
    await page.click('#choose button.main');
    await page.click('#check button.main');
    await page.waitForSelector('#read input');
}
async function read(low, high) {
    await page.fill('#r-low', low);
    await page.fill('#r-high', high);
    await page.click('#read button.main');
    await page.waitForFunction(() => !document.querySelector('#target')?.textContent.includes('Asking'));
}
const done = () => page.isVisible('#done');

test('the whole flow, without signal in the middle: exactly one calibration with its moves', async () => {
    const before = await newest();
    page = await openPage(browser, daemon.address, 'bench.html', phone);
    await choose(page, 'b', deck, stock);
    await page.fill('#b-position', '4:00');
    await page.fill('#b-recordings', '3');
    await assertAccessible(page, 'choosing');
    await page.click('#choose button.main');
    await assertAccessible(page, 'the checklist');
    await page.check('#c-deck-warm');
    await page.click('#check button.main');
    await page.waitForSelector('#target .words');
    await page.waitForSelector('#read input');
    await assertAccessible(page, 'the start setting');
    assert.equal(await page.isVisible('#taste-words'), true);
    const start = { bias: await page.inputValue('#r-bias'), level: await page.inputValue('#r-level') };
    const suggested = await json(daemon.address, `api/suggestion?deck=${deck.id}&stock=${stock.id}&recordings=3&position_s=240`);
    assert.equal(Number(start.bias.replace('\u2212', '-')), suggested.bias.dial);

    await page.context().setOffline(true);
    await read('0,3', '-2,4');
    await page.waitForSelector('#target :text("No signal")');
    assert.match(await page.textContent('#so-far'), /2\.4 dB below/);
    await page.context().setOffline(false);
    await page.click('button:text("Ask again")');
    await page.waitForSelector('#target .words');
    const second = Number((await page.inputValue('#r-bias')).replace('\u2212', '-'));
    assert.notEqual(second, suggested.bias.dial, 'a dull tape is given another setting');
    await assertAccessible(page, 'the second move');
    for (let i = 0; i < 6 && !(await done()); i++) await read('0.0', '0.1');
    assert.equal(await done(), true, 'level tones line up');
    await assertAccessible(page, 'settled');
    await page.context().setOffline(true);
    await page.click('#finish button.main');
    await page.waitForSelector('#logged-title:text("Kept on this device")');
    await page.waitForSelector('#notice-waiting');
    assert.equal((await newest()).length, before.length);
    await page.context().setOffline(false);
    await page.waitForSelector('#notice-waiting', { state: 'detached' });
    const after = await newest();
    assert.equal(after.length, before.length + 1);
    const known = new Set(before.map((row) => row.id));
    const row = after.find((one) => !known.has(one.id));
    assert.ok(row.moves.length >= 2);
    assert.deepEqual([row.moves[0].low_db, row.moves[0].high_db], [0.3, -2.4]);
    assert.deepEqual([row.low_db, row.high_db], [0, 0.1]);
    assert.equal(row.bias, row.moves.at(-1).bias);
    assert.equal(row.position_s, 240);
    assert.equal(row.recordings, 3);
});

test('a reading can be taken back, and the page closed and opened again', async () => {
    await begin();
    await read('0.2', '-3');
    await page.waitForSelector('#so-far td');
    await page.reload();
    await page.waitForSelector('#so-far td');
    assert.match(await page.textContent('#so-far'), /3\.0 dB below/);
    await page.click('#undo');
    await page.waitForFunction(() => document.querySelector('#turn-title').textContent === 'Start setting' && document.querySelector('#r-high')?.value);
    assert.equal(Number((await page.inputValue('#r-high')).replace('\u2212', '-')), -3);
    assert.equal(await page.locator('#so-far td').count(), 0);
});

test('next tape, same deck: deck, setup, tones and checklist stay; the tape’s own things do not', async () => {
    await begin();
    await page.click('#turn .back');
    await page.check('#c-deck-clean');
    await page.check('#c-tape-azimuth');
    await page.click('#check button.main');
    await page.waitForSelector('#read input');
    for (let i = 0; i < 6 && !(await done()); i++) await read('0', '0');
    await page.click('#proof-details summary');
    await page.fill('[name="proof.0.left_db"]', '0,1');
    await page.fill('[name="proof.0.right_db"]', '-0.2');
    await page.click('#finish button.main');
    await page.waitForSelector('#logged-title:text("Logged")');
    const row = (await newest()).find((one) => one.proof?.length);
    assert.deepEqual(row.proof, [{ hz: 1000, left_db: 0.1, right_db: -0.2 }]);
    await page.click('#next-tape');
    assert.equal(await page.inputValue('#b-deck'), deck.id);
    assert.equal(await page.inputValue('#b-position'), '');
    await page.selectOption('#b-stock', stock.id);
    await page.click('#choose button.main');
    assert.equal(await page.isChecked('#c-deck-clean'), true);
    assert.equal(await page.isChecked('#c-tape-azimuth'), false);
});

test('a taste is set once, shown always, asked for and logged', async () => {
    page = await openPage(browser, daemon.address, 'bench.html', phone);
    await page.click('#taste-change');
    await page.fill('#taste', '0,5');
    await page.click('#taste-form [type=submit]');
    assert.match(await page.textContent('#taste-words'), /0\.5 dB lift/);
    await page.reload();
    await choose(page, 'b', deck, stock);
    assert.match(await page.textContent('#taste-words'), /0\.5 dB lift/);
    const asked = page.waitForRequest((request) => request.url().includes('treble_db=0.5'));
    await page.click('#choose button.main');
    await page.click('#check button.main');
    await asked;
    await page.waitForSelector('#read input');
    for (let i = 0; i < 6 && !(await done()); i++) await read('0', '0.5');
    await page.click('#finish button.main');
    await page.waitForSelector('#logged-title:text("Logged")');
    assert.ok((await newest()).some((row) => row.treble_db === 0.5));
});

test('wrong readings are said at the field', async () => {
    await begin(deck, stock, small);
    await page.fill('#r-low', '1,0.2');
    await page.click('#read button.main');
    assert.equal(await page.getAttribute('#r-low', 'aria-invalid'), 'true');
    assert.equal(await page.getAttribute('#r-high', 'aria-invalid'), 'true');
    await assertAccessible(page, 'readings with errors');
    await assertNoSideways(page, 'the bench');
});

test('a two-head deck gets a ladder, read in one rewind', async () => {
    const two = await pick(daemon.address, (one) => one.heads === 2 && one.bias_dial && !one.per_channel);
    page = await openPage(browser, daemon.address, 'bench.html', small);
    await choose(page, 'b', two.deck, two.stock);
    await page.click('#choose button.main');
    await page.click('#check button.main');
    await page.waitForSelector('#one-by-one');
    const rungs = await page.locator('#read tbody tr').count();
    assert.ok(rungs >= 3 && rungs <= 7, `${rungs} settings`);
    await assertAccessible(page, 'the ladder');
    await assertNoSideways(page, 'the ladder');
    for (let at = 0; at < rungs; at++) { // more bias, duller
        await page.fill(`#r-${at}-low`, '0');
        await page.fill(`#r-${at}-high`, String((rungs - 1) / 2 - at));
    }
    await page.click('#read button.main');
    await page.waitForFunction((n) => document.querySelectorAll('#so-far tbody tr').length === n || !document.querySelector('#done').hidden, rungs);
    if (!(await done())) await page.click('#enough');
    await page.click('#finish button.main');
    await page.waitForSelector('#logged-title:text("Logged")');
    const rows = (await json(daemon.address, `api/calibrations?deck=${two.deck.id}&stock=${two.stock.id}&limit=500`)).calibrations;
    assert.equal(rows.filter((row) => row.moves?.length === rungs).length, 1);
});

test('a deck with own trims left and right: the right channel follows with the same tape', async () => {
    const own = await pick(daemon.address, (one) => one.per_channel).catch(() => null);
    if (!own) { page = await openPage(browser, daemon.address); return; }
    page = await openPage(browser, daemon.address, 'bench.html', phone);
    await choose(page, 'b', own.deck, own.stock);
    await page.selectOption('#b-channel', 'left');
    await page.click('#choose button.main');
    await page.click('#check button.main');
    await page.waitForSelector('#read button.main');
    if (await page.isVisible('#one-by-one')) await page.click('#one-by-one');
    await page.waitForSelector('#r-low');
    for (let i = 0; i < 6 && !(await done()); i++) await read('0', '0');
    await page.click('#finish button.main');
    await page.click('#next-channel');
    await page.waitForSelector('#read button.main');
    assert.match(await page.textContent('#on-bench'), /right channel/);
});
