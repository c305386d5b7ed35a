// SPDX-License-Identifier: GPL-3.0-or-later
// A tape and a deck that the book does not have: entered on a phone, then asked about and logged.
import test, { after, before } from 'node:test';
import assert from 'node:assert/strict';
import { assertAccessible, assertClean, choose, json, launch, openPage, phone, startClub, startDaemon } from './help.mjs';

let browser, daemon;
before(async () => { daemon = await startDaemon(); browser = await launch(); });
after(async () => { await browser?.close(); await daemon?.stop(); });

test('a new tape and a new deck are entered, asked about and logged', async () => {
    const mark = Date.now().toString(36);
    const page = await openPage(browser, daemon.address, 'enter.html', phone);
    await page.waitForSelector('#t-class option[value=type-1]', { state: 'attached' });
    await page.click('#stock-form button.main');
    assert.equal(await page.getAttribute('#t-name', 'aria-invalid'), 'true');
    assert.equal(await page.getAttribute('#t-class', 'aria-invalid'), 'true');
    await page.fill('#t-name', `Brämble Größe 46 ${mark}`);
    await page.selectOption('#t-class', 'type-1');
    await page.fill('#t-minutes', '22,5');
    await page.click('#stock-form button.main');
    await page.waitForSelector('#stock-said :text("Entered")');
    const stock = await json(daemon.address, `api/stocks/bramble-gro-e-46-${mark}`);
    assert.equal(stock.side_minutes, 22.5);
    assert.equal(stock.class, 'type-1');

    await page.fill('#d-name', `Landing deck ${mark}`);
    await page.fill('#d-bias_dial-low', '\u22125');
    await page.fill('#d-bias_dial-high', '5');
    await page.uncheck('#d-level_dial-there');
    await page.selectOption('#d-bias_dial-scale', 'db');
    await page.click('#deck-form button.main');
    assert.equal(await page.getAttribute('[name="bias_dial.db_per_unit"]', 'aria-invalid'), 'true');
    await assertAccessible(page, 'the deck form with an error');
    await page.fill('[name="bias_dial.db_per_unit"]', '0,5');
    await page.click('#deck-form button.main');
    await page.waitForSelector('#deck-said :text("Entered")');
    const deck = await json(daemon.address, `api/decks/landing-deck-${mark}`);
    assert.deepEqual([deck.bias_dial.low, deck.bias_dial.high, deck.bias_dial.db_per_unit, deck.level_dial], [-5, 5, 0.5, null]);

    await page.click('#deck-said a');
    await page.waitForSelector('#answer .words');
    assert.equal(await page.inputValue('#s-deck'), deck.id);
    assert.equal(await page.inputValue('#s-stock'), stock.id);
    await choose(page, 'l', deck, stock);
    assert.equal(await page.isVisible('#l-level'), false);
    await page.fill('#l-bias', '1');
    await page.click('#log-form button.main');
    await page.waitForSelector('#receipt :text("Logged")');
    assertClean(page, daemon.address);
    await page.context().close();
});

test('a new club: key, first tape, first deck, first answer, first result', async () => {
    const club = await startClub();
    try {
        const page = await openPage(browser, club.address, '', phone);
        await page.waitForSelector('#notice-key');
        await page.fill('#key', `${club.key.slice(0, -1)}${club.key.endsWith('x') ? 'y' : 'x'}`);
        await page.click('#notice-key button.main');
        await page.waitForSelector('#key[aria-invalid=true]');
        await page.fill('#key', club.key);
        await page.click('#notice-key button.main');
        await page.waitForSelector('#who:has-text("steward")');
        await page.click('#answer a:text("Enter the first")');
        await page.waitForSelector('#t-class option[value=type-2]', { state: 'attached' });
        await page.fill('#t-name', 'First tape 60');
        await page.selectOption('#t-class', 'type-2');
        await page.click('#stock-form button.main');
        await page.waitForSelector('#stock-said :text("Entered")');
        await page.fill('#d-name', 'First deck');
        for (const [end, value] of [['low', '-4'], ['high', '4']]) for (const dial of ['bias_dial', 'level_dial']) await page.fill(`#d-${dial}-${end}`, value);
        await page.click('#deck-form button.main');
        await page.waitForSelector('#deck-said :text("Entered")');
        await page.click('#deck-said a');
        await page.waitForSelector('#answer .words');
        assert.match(await page.textContent('#answer .basis'), /Nobody has logged/);
        for (const [selector, value] of [['#l-bias', '1'], ['#l-level', '-0,5'], ['#l-low', '0'], ['#l-high', '0.2']]) await page.fill(selector, value);
        await page.click('#log-form button.main');
        await page.waitForSelector('#receipt :text("Logged")');
        await page.waitForFunction(() => /Rests on 1 result/.test(document.querySelector('#answer .basis').textContent) || (document.querySelector('#start-form button.main').click(), false), null, { polling: 300 });
        await page.click('#who button:text("forget the key")');
        await page.waitForSelector('#notice-key');
        assertClean(page, club.address);
        await page.context().close();
    } finally {
        await club.stop();
    }
});
