// SPDX-License-Identifier: GPL-3.0-or-later
// The main job in the browser, against the demo club: ask where to start, log what was found, see it counted, correct it, take it out.
import test, { after, afterEach, before } from 'node:test';
import assert from 'node:assert/strict';
import { assertClean, choose, json, launch, middle, openPage, phone, pick, startDaemon } from './help.mjs';

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

const pair = async () => (await json(daemon.address, `api/suggestion?deck=${deck.id}&stock=${stock.id}`)).basis.pair;
const rows = async () => (await json(daemon.address, `api/calibrations?deck=${deck.id}&stock=${stock.id}&limit=500`)).calibrations;
const idOf = (text) => text.match(/[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}/)[0];
async function eventually(what, wanted) {
    for (let i = 0; i < 50; i++) {
        if (await what() === wanted) return;
        await new Promise((resolve) => setTimeout(resolve, 100));
    }
    assert.equal(await what(), wanted);
}

test('where to start: a sentence, a ruler with its range, what it rests on, why', async () => {
    page = await openPage(browser, daemon.address, '', phone);
    await choose(page, 's', deck, stock);
    await page.waitForSelector('#answer .words');
    const answer = await json(daemon.address, `api/suggestion?deck=${deck.id}&stock=${stock.id}`);
    const words = (await page.locator('#answer .words').first().textContent()).trim();
    assert.equal(words, answer.bias.words.replace(': ', ' '));
    assert.doesNotMatch(words, /[+\u2212-]\d/, 'no bare sign');
    const label = await page.locator('.ruler').first().getAttribute('aria-label');
    assert.match(label, /Bias dial from .* set .* nine results in ten between/);
    assert.ok((await page.textContent('#answer .basis')).includes(String(answer.basis.club)));
    await page.click('summary:text("Why this number")');
    assert.equal(await page.locator('.parts').first().locator('tbody tr').count(), answer.parts.length);
    // The bracket stands where the range is.
    const place = (value) => 100 * (Math.min(deck.bias_dial.high, Math.max(deck.bias_dial.low, value)) - deck.bias_dial.low) / (deck.bias_dial.high - deck.bias_dial.low);
    const bracket = page.locator('.ruler').first().locator('.bracket').first();
    assert.ok(Math.abs(parseFloat(await bracket.getAttribute('x1')) - place(answer.bias.range90_dial[0])) < 0.01);
    assert.ok(Math.abs(parseFloat(await bracket.getAttribute('x2')) - place(answer.bias.range90_dial[1])) < 0.01);
});

test('times recorded over, place and lift go into the question; deck and tape are remembered', async () => {
    page = await openPage(browser, daemon.address, '', phone);
    await choose(page, 's', deck, stock);
    await page.fill('#s-recordings', '14');
    await page.fill('#s-position', '0:10');
    await page.click('summary:text("Setup, batch")');
    await page.fill('#s-treble', '0,5');
    const asked = page.waitForRequest((request) => request.url().includes('treble_db=0.5'));
    await page.click('#start-form button.main');
    const url = new URL((await asked).url());
    assert.equal(url.searchParams.get('recordings'), '14');
    assert.equal(url.searchParams.get('position_s'), '10');
    await page.waitForSelector('.cautions li'); // the start of a tape wavers
    await page.reload();
    await page.waitForSelector('#answer .words');
    assert.equal(await page.inputValue('#s-deck'), deck.id);
    assert.equal(await page.inputValue('#l-stock'), stock.id);
});

test('a tape that is not in the book is asked about by its class', async () => {
    page = await openPage(browser, daemon.address, '', phone);
    await choose(page, 's', deck, stock);
    await page.selectOption('#s-stock', 'class:type-2');
    await page.waitForFunction(() => /class/.test(document.querySelector('#answer .basis')?.textContent ?? ''));
});

test('logged with a comma, counted at once, corrected, taken out', async () => {
    page = await openPage(browser, daemon.address, '', phone);
    await choose(page, 'l', deck, stock);
    const before = await pair(), known = (await rows()).length;
    await page.fill('#l-bias', String(middle(deck.bias_dial)));
    await page.fill('#l-level', String(middle(deck.level_dial)));
    await page.fill('#l-low', '0,2');
    await page.fill('#l-high', '-0,6');
    assert.match(await page.textContent('#l-high-said'), /0\.6 dB below the source/);
    await page.fill('#l-recordings', '2');
    await page.fill('#l-position', '3:00');
    await page.click('#log-form button.main');
    await page.waitForSelector('#receipt :text("Logged")');
    const id = idOf(await page.textContent('#receipt'));
    const row = await json(daemon.address, `api/calibrations/${id}`);
    assert.equal(row.low_db, 0.2);
    assert.equal(row.high_db, -0.6);
    assert.equal(row.position_s, 180);
    assert.equal(row.recordings, 2);
    assert.match(row.made_at, /[+-]\d\d:\d\d$|Z$/);
    assert.equal((await rows()).length, known + 1);
    await eventually(pair, before + 1);
    assert.equal(await page.inputValue('#l-bias'), '', 'the form is ready for the next');

    await page.click('#receipt button:text("Correct it")');
    assert.equal(await page.inputValue('#l-high'), '\u22120.6');
    await page.fill('#l-high', '0.3');
    await page.click('#log-form button.main');
    await page.waitForSelector('#receipt :text("Corrected")');
    assert.equal((await json(daemon.address, `api/calibrations/${id}`)).high_db, 0.3);
    assert.equal((await rows()).length, known + 1);

    await page.click('#receipt button:text("misentry")');
    await page.waitForSelector('#receipt :text("Taken out")');
    await eventually(pair, before);
});

test('what is wrong is said at the field, in words, before and after sending', async () => {
    page = await openPage(browser, daemon.address, '', phone);
    await choose(page, 'l', deck, stock);
    const said = async (id) => {
        const notes = (await page.getAttribute(id, 'aria-describedby') ?? '').split(' ').filter(Boolean);
        return (await Promise.all(notes.map((note) => page.textContent(`#${note}`)))).join(' ');
    };
    await page.fill('#l-bias', '1.000,5');
    await page.fill('#l-low', 'about 1');
    await page.click('#log-form button.main');
    assert.match(await said('#l-bias'), /not both/);
    assert.match(await said('#l-low'), /not a number/);
    assert.match(await said('#l-level'), /Enter the record trim/);
    assert.equal(await page.evaluate(() => document.activeElement.getAttribute('aria-invalid')), 'true');
    await page.fill('#l-bias', String(deck.bias_dial.high + 50));
    await page.fill('#l-level', String(middle(deck.level_dial)));
    await page.fill('#l-low', '1');
    await page.click('#log-form button.main');
    assert.match(await said('#l-bias'), /dial goes from/);
    assert.match(await said('#l-high'), /both tones/);
    // And what only the daemon knows.
    await page.fill('#l-bias', String(middle(deck.bias_dial)));
    await page.fill('#l-high', '0');
    await page.fill('#l-recordings', '5000');
    await page.click('#log-form button.main');
    await page.waitForSelector('#l-recordings[aria-invalid=true]');
    assert.notEqual(await said('#l-recordings'), '');
    assert.equal(await page.inputValue('#l-low'), '1', 'nothing typed is lost');
    await page.fill('#l-recordings', '');
    await page.fill('#l-low', '0.1');
    await page.click('#log-form button.main');
    await page.waitForSelector('#receipt :text("Logged")');
});

test('the rest is one tap away and all of it arrives', async () => {
    page = await openPage(browser, daemon.address, '', phone);
    await choose(page, 'l', deck, stock);
    for (const summary of await page.locator('#log-form summary').all()) await summary.click();
    const bias = middle(deck.bias_dial), level = middle(deck.level_dial);
    const typed = { '#l-bias': bias, '#l-level': level, '#l-low': '0', '#l-high': '0.5', '#l-batch': 'B7', '#l-tape': 'no. 12', '#l-treble': '0,5', '#l-low-balance': '0.1', '#l-high-balance': '-0.3', '#l-unsteady': '0.4', '#l-peak': '3', '#l-notes': 'Second side wavers.', '#l-made': '2025-06-01T20:15' };
    for (const [selector, value] of Object.entries(typed)) await page.fill(selector, String(value));
    await page.selectOption('#l-side', 'b');
    await page.check('#l-for-nr');
    await page.click('#l-add-move');
    await page.click('#l-add-move');
    for (const [at, [move, low, high]] of [[bias, '0,4', '-2'], [bias, '0', '0.5']].entries())
        for (const [name, value] of Object.entries({ bias: move, level, low_db: low, high_db: high })) await page.fill(`[name="moves.${at}.${name}"]`, String(value));
    await page.click('#l-add-proof');
    for (const [name, value] of Object.entries({ hz: 6300, left_db: '0.2', right_db: '-0.1' })) await page.fill(`[name="proof.0.${name}"]`, String(value));
    await page.click('#log-form button.main');
    await page.waitForSelector('#receipt :text("Logged")');
    const row = await json(daemon.address, `api/calibrations/${idOf(await page.textContent('#receipt'))}`);
    assert.deepEqual(row.moves, [{ bias, level, low_db: 0.4, high_db: -2 }, { bias, level, low_db: 0, high_db: 0.5 }]);
    assert.deepEqual(row.proof, [{ hz: 6300, left_db: 0.2, right_db: -0.1 }]);
    assert.deepEqual([row.batch, row.tape, row.treble_db, row.low_balance_db, row.high_balance_db, row.unsteady_db, row.peak_db, row.side, row.for_noise_reduction, row.notes],
        ['B7', 'no. 12', 0.5, 0.1, -0.3, 0.4, 3, 'b', true, 'Second side wavers.']);
    assert.equal(Date.parse(row.made_at), new Date('2025-06-01T20:15').getTime());
});

test('a deck with own channels asks which, and a deck without a dial does not ask for it', async () => {
    page = await openPage(browser, daemon.address, '', phone);
    await page.waitForSelector('#l-deck option[value]', { state: 'attached' });
    const { decks } = await json(daemon.address, 'api/decks?limit=500');
    for (const one of decks) {
        await page.selectOption('#l-deck', one.id);
        assert.equal(await page.isVisible('#l-channel'), !!one.per_channel, `${one.id}: channel`);
        assert.equal(await page.isVisible('#l-bias'), !!one.bias_dial, `${one.id}: bias`);
        assert.equal(await page.isVisible('#l-level'), !!one.level_dial, `${one.id}: level`);
        assert.equal(await page.isVisible('#l-setup'), (one.setups?.length ?? 0) > 1, `${one.id}: setup`);
        const media = await page.locator('#l-stock option[value]').evaluateAll((options) => options.map((option) => option.value).filter(Boolean));
        assert.ok(media.length, `${one.id}: tapes`);
    }
});

test('the daemon’s own pages open without signal, with the last lists and the last answer', async () => {
    page = await openPage(browser, daemon.address, '', phone);
    await choose(page, 's', deck, stock);
    await page.waitForSelector('#answer .words');
    await page.evaluate(() => navigator.serviceWorker.ready);
    await page.reload(); // from here on the worker is in charge
    await page.waitForSelector('#answer .words');
    await page.context().setOffline(true);
    await page.goto(`${daemon.address}bench.html`);
    await page.waitForSelector(`#b-deck option[value="${deck.id}"]`, { state: 'attached' });
    await page.goto(daemon.address);
    await page.waitForSelector('#answer :text("No signal")');
});
