// SPDX-License-Identifier: GPL-3.0-or-later
// With scripts off: the form on the page and the daemon's own form both log, and what is wrong is said on the page that comes back.
import test, { after, afterEach, before, beforeEach } from 'node:test';
import assert from 'node:assert/strict';
import { assertAccessible, assertNoSideways, json, launch, middle, openPage, pick, small, startClub, startDaemon } from './help.mjs';

let browser, daemon, deck, stock, page;
before(async () => {
    daemon = await startDaemon(); browser = await launch();
    ({ deck, stock } = await pick(daemon.address));
});
after(async () => { await browser?.close(); await daemon?.stop(); });
beforeEach(async () => { page = await openPage(browser, null, '', { ...small, javaScriptEnabled: false }); });
afterEach(() => page.context().close());

const count = async () => (await json(daemon.address, `api/calibrations?deck=${deck.id}&stock=${stock.id}&limit=500`)).calibrations.length;
async function fill(values) {
    for (const [name, value] of Object.entries(values)) await page.fill(`form[method=post] [name="${name}"]`, String(value));
}

test('the form on the first page posts to /log and gets a page back', async () => {
    const before = await count();
    await page.goto(daemon.address);
    assert.equal(await page.isVisible('#l-add-move'), false, 'what needs scripts is not shown');
    await fill({ deck: deck.id, stock: stock.id, bias: middle(deck.bias_dial), level: middle(deck.level_dial), low_db: '0,2', high_db: '-0,4' });
    await page.click('#log-form button.main');
    assert.match(page.url(), /\/log$/);
    assert.equal(await count(), before + 1);
    await assertNoSideways(page, 'the receipt page');
});

test('where to start is answered with a page, too', async () => {
    await page.goto(daemon.address);
    await page.fill('#s-deck', deck.id);
    await page.fill('#s-stock', stock.id);
    await page.click('#start-form button.main');
    const { bias } = await json(daemon.address, `api/suggestion?deck=${deck.id}&stock=${stock.id}`);
    assert.ok((await page.textContent('main')).includes(bias.words));
});

test('the daemon’s own form has the lists filled in; faults come back at the field with what was typed', async () => {
    await page.goto(daemon.address);
    await page.click('noscript a, a[href="log"]');
    await page.waitForSelector('form[method=post] select[name=deck]');
    await assertNoSideways(page, 'the plain form');
    const before = await count();
    await page.selectOption('form[method=post] select[name=deck]', deck.id);
    await page.selectOption('form[method=post] select[name=stock]', stock.id);
    await fill({ bias: '1.000,5', level: middle(deck.level_dial) });
    await page.click('form[method=post] [type=submit]');
    assert.match(await page.textContent('body'), /not both|comma|point/i);
    assert.equal(await page.inputValue('form[method=post] [name=level]'), String(middle(deck.level_dial)));
    assert.equal(await count(), before);
    await fill({ bias: middle(deck.bias_dial) });
    await page.click('form[method=post] [type=submit]');
    assert.equal(await count(), before + 1);
});

test('a club with keys: signed in on the way, what was filled in meanwhile is kept, signed out again', async () => {
    const club = await startClub();
    try {
        const send = (path, body) => fetch(club.address + path, { method: 'PUT', headers: { authorization: `Bearer ${club.key}`, 'content-type': 'application/json' }, body: JSON.stringify(body) });
        assert.equal((await send('api/decks/first-deck', { name: 'First deck', medium: 'cassette', bias_dial: { low: -4, high: 4, scale: 'learn' } })).status, 201);
        assert.equal((await send('api/stocks/first-tape', { name: 'First tape', class: 'type-2' })).status, 201);
        await page.goto(club.address);
        await page.fill('#s-deck', 'first-deck');
        await page.fill('#s-stock', 'first-tape');
        await page.click('#start-form button.main');
        await page.waitForSelector('form[action="sign-in"] #key');
        await assertNoSideways(page, 'the sign-in page');
        await page.fill('#key', 'bb1_mistyped');
        await page.click('button.main');
        assert.match(await page.textContent('.problem'), /not known here/);
        await page.fill('#key', ` ${club.key} `);
        await page.click('button.main');
        assert.match(page.url(), /\/log\?deck=first-deck&stock=first-tape/);
        assert.match(await page.textContent('h2'), /First deck with First tape/);
        // The session ends while the form is being filled in.
        await page.selectOption('form[method=post] select[name=deck]', 'first-deck');
        await page.selectOption('form[method=post] select[name=stock]', 'first-tape');
        await fill({ bias: '1,5', notes: 'two lines & "quotes"' });
        await page.context().clearCookies();
        await page.click('form[action=log][method=post] [type=submit]');
        await page.waitForSelector('#key');
        await page.fill('#key', club.key);
        await page.click('button.main');
        assert.equal(await page.inputValue('form[method=post] [name=notes]'), 'two lines & "quotes"');
        assert.equal(await page.inputValue('form[method=post] [name=deck]'), 'first-deck');
        await page.click('form[action=log][method=post] [type=submit]');
        assert.match(await page.textContent('h1'), /^Logged/);
        await page.goto(`${club.address}log`);
        assert.match(await page.textContent('main'), /steward/);
        await page.click('button:text("Sign out")');
        assert.match(await page.textContent('h1'), /Signed out/);
        await page.goto(`${club.address}log`);
        await page.waitForSelector('#key');
        const scripted = await openPage(browser, club.address, 'log', small);
        await assertAccessible(scripted, 'the sign-in page');
        await scripted.context().close();
    } finally {
        await club.stop();
    }
});

test('the other pages say what they need', async () => {
    for (const path of ['bench.html', 'track.html']) {
        await page.goto(daemon.address + path);
        assert.match(await page.textContent('main'), /[Ss]cripts|scripts/);
        assert.ok(await page.locator('noscript a, main a').count());
    }
    await page.goto(`${daemon.address}cautions.html`);
    assert.match(await page.textContent('main'), /licensed/);
    const scripted = await openPage(browser, daemon.address, 'log', small);
    await assertAccessible(scripted, 'the plain form');
    await scripted.context().close();
});
