// SPDX-License-Identifier: GPL-3.0-or-later
// A real club with keys behind a real proxy on a path of its own, over a wireless that drops every other request: signed in with and without scripts, asked,
// logged, corrected, looked at. Nothing is lost, nothing is there twice, nothing is asked of the proxy's root.
import test, { after, before } from 'node:test';
import assert from 'node:assert/strict';
import { createServer, request as ask } from 'node:http';
import { assertAccessible, launch, openPage, phone, startClub } from './help.mjs';

let browser, club, proxy, address, flaky = 0;
const outside = []; // what was asked beside the path
before(async () => {
    [browser, club] = await Promise.all([launch(), startClub(['--behind-proxy'])]);
    const { hostname, port } = new URL(club.address);
    let turn = 0;
    proxy = createServer((from, to) => {
        if (!from.url.startsWith('/tapes/')) {
            outside.push(from.url);
            to.writeHead(404).end();
            return;
        }
        const drop = flaky && from.url.includes('/api/') && turn++ % 2 === 0;
        if (drop && flaky === 1) return void from.socket.destroy(); // it never came there
        const there = ask({ hostname, port, method: from.method, path: from.url.slice('/tapes'.length), headers: { ...from.headers, 'x-forwarded-for': '192.0.2.7' } }, (answer) => {
            if (drop) return void (answer.resume(), from.socket.destroy()); // done, but nobody hears of it
            to.writeHead(answer.statusCode, answer.rawHeaders);
            return answer.pipe(to);
        });
        there.on('error', () => from.socket.destroy());
        from.pipe(there);
    });
    await new Promise((resolve) => proxy.listen(0, '127.0.0.1', resolve));
    address = `http://127.0.0.1:${proxy.address().port}/tapes/`;
    const put = (path, body) => fetch(club.address + path, { method: 'PUT', headers: { authorization: `Bearer ${club.key}`, 'content-type': 'application/json' }, body: JSON.stringify(body) });
    const dial = { low: -4, high: 4, scale: 'db', db_per_unit: 0.5 };
    assert.equal((await put('api/decks/the-deck', { name: 'The deck', medium: 'cassette', bias_dial: dial, level_dial: dial })).status, 201);
    assert.equal((await put('api/stocks/the-tape', { name: 'The tape', class: 'type-2' })).status, 201);
});
after(async () => {
    await browser?.close();
    proxy?.closeAllConnections();
    proxy?.close();
    await club?.stop();
});

const rows = async () => (await (await fetch(`${club.address}api/calibrations`, { headers: { authorization: `Bearer ${club.key}` } })).json()).calibrations;

test('a member at the bench, every other request dropped', async () => {
    const page = await openPage(browser, address, '', phone);
    await page.waitForSelector('#notice-key');
    await page.fill('#key', club.key);
    await page.click('#notice-key button.main');
    await page.waitForSelector('#who:has-text("steward")');
    await page.waitForSelector('#l-deck option[value="the-deck"]', { state: 'attached' });
    for (const form of ['s', 'l']) {
        await page.selectOption(`#${form}-deck`, 'the-deck');
        await page.selectOption(`#${form}-stock`, 'the-tape');
    }
    await page.waitForSelector('#answer .words');
    for (const way of [1, 2]) {
        flaky = way;
        for (const [selector, value] of [['#l-bias', String(way)], ['#l-level', '0'], ['#l-low', '0'], ['#l-high', '0']]) await page.fill(selector, value);
        for (let tries = 0; tries < 6 && (await rows()).length < way; tries++) {
            await page.click('#log-form button.main');
            await page.waitForTimeout(400);
        }
        // What is kept on the device is sent until it is acknowledged.
        for (let tries = 0; tries < 8 && await page.locator('#notice-waiting').count(); tries++) {
            await page.click('#notice-waiting button:text("Send now")').catch(() => {});
            await page.waitForTimeout(300);
        }
        assert.equal((await rows()).length, way, 'one row, however often it was sent');
    }
    flaky = 0;
    for (const path of ['stock.html?stock=the-tape', 'deck.html?deck=the-deck', 'club.html', 'members.html', 'review.html', 'track.html', 'sheet.html?deck=the-deck', 'bench.html']) {
        await page.goto(address + path);
        await page.waitForLoadState('networkidle');
        assert.equal(await page.locator('.problem:visible').count(), 0, path);
    }
    assert.deepEqual(page.faults.filter((text) => !/ERR_|Failed to fetch/.test(text)), []);
    await page.context().close();
});

test('without scripts the way goes through the same path', async () => {
    const page = await openPage(browser, null, '', { ...phone, javaScriptEnabled: false });
    await page.goto(`${address}log?deck=the-deck&stock=the-tape`);
    await page.fill('#key', club.key);
    await page.click('button.main');
    assert.equal(page.url(), `${address}log?deck=the-deck&stock=the-tape`);
    assert.match(await page.textContent('main'), /The deck with The tape/);
    await page.goto(`${address}nowhere/at/all`);
    assert.match(await page.textContent('h1'), /Nothing here/);
    await page.click('a');
    assert.equal(page.url(), address);
    const scripted = await openPage(browser, address, 'nowhere/at/all', phone);
    await assertAccessible(scripted, 'a page that is not there');
    await scripted.context().close();
    await page.context().close();
    assert.deepEqual(outside.filter((path) => path !== '/favicon.ico'), [], 'nothing is asked of the proxy’s root');
});
