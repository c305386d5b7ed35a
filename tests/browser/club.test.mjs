// SPDX-License-Identifier: GPL-3.0-or-later
// The club's pages against the daemon: what is new, what to try next, the grid; misentries are judged and judgements undone; members and keys.
import test, { before, after } from 'node:test';
import assert from 'node:assert/strict';
import { assertAccessible, assertClean, assertNoSideways, json, launch, openPage, small, startClub, startDaemon } from './help.mjs';

let browser, demo;
before(async () => {
    [browser, demo] = await Promise.all([launch(), startDaemon()]);
});
after(async () => {
    await browser?.close();
    await demo?.stop();
});

test('the club page: newest, try next, grid, who logged', async () => {
    const page = await openPage(browser, demo.address, 'club.html');
    await page.waitForSelector('#grid table');
    await page.waitForSelector('#activity table');
    const grid = await json(demo.address, 'api/coverage');
    assert.equal(await page.locator('#grid tbody tr').count(), grid.stocks.length);
    assert.equal(await page.locator('#grid thead th').count(), grid.decks.length);
    assert.equal(await page.locator('#grid td.mark').count(), grid.try_next.length);
    assert.equal(await page.locator('#newest tbody tr').count(), 12);
    assert.match(await page.textContent('#try-next li'), /takes [\d.]+ % off/);
    await assertAccessible(page, 'the club page');
    assertClean(page, demo.address);
    const narrow = await openPage(browser, demo.address, 'club.html', small);
    await narrow.waitForSelector('#grid table');
    await assertNoSideways(narrow, 'the club page');
});

test('a misentry is voided, undone, and found right', async () => {
    const page = await openPage(browser, demo.address, 'review.html');
    await page.waitForSelector('#list li');
    const first = page.locator('#list > ul > li').first();
    const id = await first.getAttribute('data-id');
    await assertAccessible(page, 'misentries');
    await first.locator('summary:text("Void it")').click();
    await first.locator('button:text("Void it")').click();
    await first.locator('button:text("Undo")').waitFor();
    assert.equal((await json(demo.address, `api/calibrations/${id}`)).void.reason, 'misentry');
    await first.locator('button:text("Undo")').click();
    await page.waitForFunction((li) => /as it was before/.test(li.textContent), await first.elementHandle());
    assert.equal((await json(demo.address, `api/calibrations/${id}`)).void, undefined);
    await page.reload();
    await page.waitForSelector(`#list li[data-id="${id}"]`);
    await page.locator(`#list li[data-id="${id}"] button:text("It is right")`).click();
    await page.waitForFunction((name) => /right after all/.test(document.querySelector(`#list li[data-id="${name}"]`).textContent), id);
    assert.ok(!(await json(demo.address, 'api/review')).calibrations.some((one) => one.id === id));
    assertClean(page, demo.address);
    const narrow = await openPage(browser, demo.address, 'review.html', small);
    await narrow.waitForSelector('#list li');
    await assertNoSideways(narrow, 'misentries');
});

test('a steward adds a member, whose key is shown once, works, is replaced and revoked', async () => {
    const club = await startClub();
    try {
        const page = await openPage(browser, club.address, 'members.html');
        await page.waitForSelector('#notice-key');
        await page.fill('#key', club.key);
        await page.click('#notice-key button.main');
        await page.waitForSelector('#add:not([hidden])');
        assert.equal(await page.evaluate(() => JSON.stringify(localStorage).includes('bb1_')), false, 'the key is kept nowhere');
        await page.fill('#m-name', 'Odda');
        await page.fill('#m-key', 'phone');
        await page.click('#add-form button.main');
        await page.waitForSelector('#made .once');
        const key = await page.textContent('#made .once');
        assert.match(key, /^bb1_[\w-]{43}$/);
        const may = async (bearer) => (await fetch(`${club.address}api/classes`, { headers: { authorization: `Bearer ${bearer}` } })).status;
        assert.equal(await may(key), 200);
        const item = page.locator('#members li', { has: page.locator('h2:text("Odda")') }).first();
        await item.locator('summary').click();
        await item.locator('button:text("Replace")').click();
        await assertAccessible(page, 'members');
        await item.locator('button:text("Press again")').click();
        await page.waitForFunction((old) => document.querySelector('#made .once').textContent !== old, key);
        const second = await page.textContent('#made .once');
        assert.deepEqual([await may(key), await may(second)], [401, 200]);
        await item.locator('summary').click();
        await item.locator('button:text("Revoke")').click();
        await item.locator('button:text("Press again")').click();
        await page.waitForFunction(() => /revoked a key/.test(document.querySelector('#journal').textContent));
        assert.equal(await may(second), 401);
        await page.setViewportSize(small.viewport);
        await assertNoSideways(page, 'members');
        assertClean(page, club.address);
    } finally {
        await club.stop();
    }
});
