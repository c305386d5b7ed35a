// SPDX-License-Identifier: GPL-3.0-or-later
// Trouble that the daemon does not make to order, so a stand-in plays it: a lost reply, a busy book, refusals, keys. What must hold: nothing is lost,
// nothing is there twice, and what went wrong is said where it can be mended.
import test, { after, afterEach, before, beforeEach } from 'node:test';
import assert from 'node:assert/strict';
import { problem, startMock } from './mock.mjs';
import { assertAccessible, assertClean, launch, openPage, phone } from './help.mjs';

let browser, mock, page, trouble;
before(async () => { browser = await launch(); });
after(() => browser.close());
beforeEach(async () => {
    trouble = () => null;
    mock = await startMock({ trouble: (request) => trouble(request) });
    page = await openPage(browser, mock.address, '', phone);
    await page.waitForSelector('#l-deck option[value=attic]', { state: 'attached' });
    await page.selectOption('#l-deck', 'attic');
    await page.selectOption('#l-stock', 'fern-90');
});
afterEach(async () => {
    assertClean(page, mock.address);
    await page.context().close();
    mock.stop();
});

const puts = () => mock.seen.filter((request) => request.method === 'PUT');
async function fill(values = { '#l-bias': '1,5', '#l-level': '15', '#l-low': '0.1', '#l-high': '-0,4' }) {
    for (const [selector, value] of Object.entries(values)) await page.fill(selector, value);
}
const log = () => page.click('#log-form button.main');

test('a reply that got lost: pressed again, the same UUID, one row', async () => {
    trouble = ({ method }) => (method === 'PUT' && puts().length === 1 ? 'drop' : null);
    await fill();
    await log();
    await page.waitForSelector('#receipt :text("Kept on this device")');
    assert.match(await page.textContent('#notice-waiting'), /1 result waits on this device/);
    await log();
    await page.waitForSelector('#receipt :text("Already in the book")');
    assert.equal(puts().length, 2);
    assert.equal(puts()[0].path, puts()[1].path);
    assert.deepEqual(puts()[0].body, puts()[1].body);
    assert.equal(mock.rows.size, 1);
    assert.equal(await page.locator('#notice-waiting').count(), 0);
});

test('another result while one waits gets its own UUID, and both arrive', async () => {
    let busy = true;
    trouble = ({ method }) => (method === 'PUT' && busy ? [503, problem(503, '', 'busy', 'try again'), { 'retry-after': '1' }] : null);
    await fill();
    await log();
    await page.waitForSelector('#receipt :text("busy")');
    await page.selectOption('#l-stock', 'moss-60');
    await fill({ '#l-bias': '2' });
    await log();
    await page.waitForSelector('#notice-waiting :text("2 results wait")');
    assert.match(await page.textContent('#notice-waiting'), /Fern 90 on Attic deck/);
    assert.equal(mock.rows.size, 0);
    busy = false;
    await page.click('#notice-waiting button:text("Send now")');
    await page.waitForSelector('#notice-waiting', { state: 'detached' });
    assert.deepEqual([...mock.rows.values()].map((row) => row.stock).sort(), ['fern-90', 'moss-60']);
});

test('without signal the queue outlives the page, and is sent once when the signal is back', async () => {
    await fill();
    await page.context().setOffline(true);
    await log();
    await page.waitForSelector('#notice-waiting :text("1 result waits")');
    await page.context().setOffline(false);
    await page.waitForSelector('#notice-waiting', { state: 'detached' });
    assert.equal(mock.rows.size, 1);
    trouble = ({ method }) => (method === 'PUT' ? 'drop' : null);
    await page.click('#receipt button:text("Next calibration")');
    await fill({ '#l-bias': '0', '#l-level': '16' });
    await log();
    await page.waitForSelector('#notice-waiting :text("1 result waits")');
    trouble = () => null;
    await page.reload();
    await page.waitForFunction(() => !document.getElementById('notice-waiting'));
    await page.waitForTimeout(200);
    assert.equal(mock.rows.size, 2);
});

test('what the book refuses is said at the field, stays typed, and goes under the same UUID when mended', async () => {
    trouble = ({ method, body }) => (method === 'PUT' && body.bias === 3 ? [422, { ...problem(422, 'bias', 'out-of-range', 'the bias dial of this deck ends at 2'),
        errors: [{ field: 'bias', code: 'out-of-range', detail: 'the bias dial of this deck ends at 2' }, { field: 'moves[0].high_db', code: 'x', detail: 'the first move is odd' }] }] : null);
    await fill({ '#l-bias': '3', '#l-level': '15' });
    await page.click('summary:text("More readings")');
    await page.click('#l-add-move');
    await page.fill('[name="moves.0.high_db"]', '2');
    await log();
    await page.waitForSelector('#l-bias[aria-invalid=true]');
    const note = await page.getAttribute('#l-bias', 'aria-describedby');
    assert.match(await page.textContent(`#${note.split(' ').pop()}`), /ends at 2/);
    assert.equal(await page.getAttribute('[name="moves.0.high_db"]', 'aria-invalid'), 'true');
    assert.equal(await page.evaluate(() => document.activeElement.id), 'l-bias');
    assert.equal(await page.inputValue('#l-level'), '15');
    await assertAccessible(page, 'the form with errors');
    await page.fill('#l-bias', '2');
    await log();
    await page.waitForSelector('#receipt :text("Logged")');
    assert.equal(puts()[0].path, puts()[1].path);
    assert.equal(await page.locator('.wrong').count(), 0);
});

test('one refused out of the queue stays with its reason and can be mended', async () => {
    await page.context().setOffline(true);
    await fill();
    await log();
    await page.waitForSelector('#notice-waiting');
    trouble = ({ method, body }) => (method === 'PUT' && body.level === 15 ? [422, problem(422, 'level', 'odd', 'no such level')] : null);
    await page.context().setOffline(false);
    await page.waitForSelector('#notice-waiting :text("1 result was refused")');
    assert.match(await page.textContent('#notice-waiting'), /no such level/);
    await assertAccessible(page, 'the queue');
    await page.click('#notice-waiting a:text("Mend it")');
    await page.waitForSelector('#l-level[aria-invalid=true]');
    assert.equal(await page.inputValue('#l-level'), '15');
    await page.fill('#l-level', '16');
    await log();
    await page.waitForSelector('#receipt :text("Logged")');
    assert.equal(await page.locator('#notice-waiting').count(), 0);
    assert.equal(new Set(puts().map((request) => request.path)).size, 1);
    assert.equal(mock.rows.size, 1);
});

test('throwing a refused one away takes two presses', async () => {
    await page.context().setOffline(true);
    await fill();
    await log();
    await page.waitForSelector('#notice-waiting');
    trouble = ({ method }) => (method === 'PUT' ? [422, problem(422, 'level', 'odd', 'no such level')] : null);
    await page.context().setOffline(false);
    const button = page.locator('#notice-waiting li button');
    await button.click();
    assert.match(await button.textContent(), /again/);
    await button.click();
    await page.waitForSelector('#notice-waiting', { state: 'detached' });
});

test('the last suggestion and the lists are there without signal', async () => {
    await page.selectOption('#s-deck', 'attic');
    await page.selectOption('#s-stock', 'fern-90');
    await page.waitForSelector('#answer .words');
    trouble = ({ path }) => (path.startsWith('/api/') ? [503, problem(503, '', 'busy', 'down')] : null);
    await page.reload();
    await page.waitForSelector('#answer .words');
    assert.match(await page.textContent('#answer'), /No signal: this is what the book said just now/);
    assert.equal(await page.inputValue('#l-deck'), 'attic');
});

test('the pages open without signal where the browser allows it', async () => {
    await page.evaluate(() => navigator.serviceWorker.ready);
    await page.context().setOffline(true);
    await page.goto(`${mock.address}bench.html`);
    await page.waitForSelector('#b-deck option[value=attic]', { state: 'attached' });
    await page.goto(mock.address);
    await page.waitForSelector('#l-deck option[value=attic]', { state: 'attached' });
});

test('a club with keys: asked for, refused when wrong, kept, used, forgotten', async () => {
    const locked = await startMock({ key: 'bb1_right' });
    const guest = await openPage(browser, locked.address, '', phone);
    await guest.waitForSelector('#notice-key');
    await assertAccessible(guest, 'the key form');
    await guest.fill('#key', 'bb1_wrong');
    await guest.click('#notice-key button.main');
    await guest.waitForSelector('#key[aria-invalid=true]');
    assert.match(await guest.textContent('#key-note'), /does not know this key/);
    await guest.fill('#key', 'bb1_right');
    await guest.click('#notice-key button.main');
    await guest.waitForSelector('#who:has-text("Mira, steward")');
    await guest.waitForSelector('#l-deck option[value=attic]', { state: 'attached' });
    assert.equal(await guest.locator('#notice-key').count(), 0);
    await guest.reload();
    await guest.waitForSelector('#who:has-text("Mira")');
    await guest.click('#who button:text("forget the key")');
    await guest.waitForSelector('#notice-key');
    assert.equal(await guest.evaluate(() => JSON.stringify(localStorage).includes('bb1_')), false);
    assertClean(guest, locked.address);
    await guest.context().close();
    locked.stop();
});

test('a result logged while the key is missing waits, and goes when the key is given', async () => {
    let locked = true;
    trouble = ({ method }) => (method === 'PUT' && locked ? [401, problem(401, '', 'no-key', 'this needs a key')] : null);
    await fill();
    await log();
    await page.waitForSelector('#notice-key');
    await page.waitForSelector('#notice-waiting');
    locked = false;
    await page.fill('#key', 'bb1_any');
    await page.click('#notice-key button.main');
    await page.waitForSelector('#notice-waiting', { state: 'detached' });
    assert.equal(mock.rows.size, 1);
});
