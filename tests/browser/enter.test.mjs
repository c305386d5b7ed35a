// SPDX-License-Identifier: GPL-3.0-or-later
// A tape and a deck that the book does not have: entered on a phone, then asked about and logged.
import test, { after, before } from 'node:test';
import assert from 'node:assert/strict';
import { assertAccessible, assertClean, choose, json, launch, openPage, phone, startDaemon } from './help.mjs';

let browser, daemon;
before(async () => { [browser, daemon] = await Promise.all([launch(), startDaemon()]); });
after(async () => { await browser.close(); await daemon.stop(); });

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
