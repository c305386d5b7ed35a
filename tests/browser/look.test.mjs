// SPDX-License-Identifier: GPL-3.0-or-later
// How the pages hold up: narrow, in the dark, in forced colours, on paper, by keyboard alone, for axe.
import test, { after, before } from 'node:test';
import assert from 'node:assert/strict';
import { assertAccessible, assertClean, assertNoSideways, choose, desk, launch, openPage, phone, pick, small, startDaemon } from './help.mjs';

let browser, daemon, deck, stock;
before(async () => {
    daemon = await startDaemon(); browser = await launch();
    ({ deck, stock } = await pick(daemon.address));
});
after(async () => { await browser?.close(); await daemon?.stop(); });

const paths = ['', 'bench.html', 'track.html', 'enter.html', 'cautions.html'];

async function withAnswer(options) {
    const page = await openPage(browser, daemon.address, '', options);
    await choose(page, 's', deck, stock);
    await page.waitForSelector('#answer .words');
    return page;
}

test('every page: no sideways scrolling at 320 px, nothing for axe, nobody else asked', async () => {
    for (const options of [{ ...small, colorScheme: 'light' }, { ...desk, colorScheme: 'dark' }])
        for (const path of paths) {
            const page = await openPage(browser, daemon.address, path, options);
            await page.waitForLoadState('networkidle');
            await assertNoSideways(page, path || 'start');
            await assertAccessible(page, `${path || 'start'}, ${options.colorScheme}`);
            assertClean(page, daemon.address);
            await page.context().close();
        }
});

test('an answer, everything folded out: 320 px, axe, light and dark', async () => {
    for (const colorScheme of ['light', 'dark']) {
        const page = await withAnswer({ ...small, colorScheme });
        for (const details of await page.locator('details').all()) await details.evaluate((node) => { node.open = true; });
        await page.click('#l-add-move');
        await page.click('#l-add-proof');
        await assertNoSideways(page, 'the answer');
        await assertAccessible(page, `the answer, ${colorScheme}`);
        await page.context().close();
    }
});

test('magnified to 200 % the answer still fits a phone', async () => {
    const page = await withAnswer(phone);
    const client = await page.context().newCDPSession(page);
    await client.send('Emulation.setDeviceMetricsOverride', { width: 195, height: 422, deviceScaleFactor: 4, mobile: false });
    await assertNoSideways(page, 'the answer at 195 px');
    await page.context().close();
});

test('the content policy is there and refuses what is inline', async () => {
    const response = await fetch(daemon.address);
    const policy = response.headers.get('content-security-policy') ?? '';
    assert.match(policy, /default-src 'none'/);
    assert.doesNotMatch(policy, /unsafe-inline|unsafe-eval|\*/);
});

test('no element carries a style attribute, also after the scripts ran', async () => {
    const page = await withAnswer(desk);
    assert.equal(await page.locator('[style]').count(), 0);
    await page.context().close();
});

test('text on the ruler is at least 12 px on a phone', async () => {
    const page = await withAnswer(phone);
    const sizes = await page.locator('.ruler text').evaluateAll((nodes) => nodes.map((node) => parseFloat(getComputedStyle(node).fontSize)));
    assert.ok(sizes.length > 4);
    for (const size of sizes) assert.ok(size >= 12, `${size} px`);
    await page.context().close();
});

test('keyboard alone: ask, read why, log; the focus is always to be seen', async () => {
    const page = await openPage(browser, daemon.address, '', desk);
    await page.waitForSelector('#l-deck option', { state: 'attached' });
    const seen = [];
    const tabTo = async (id) => {
        for (let i = 0; i < 80; i++) {
            await page.keyboard.press('Tab');
            const now = await page.evaluate(() => {
                const node = document.activeElement, style = getComputedStyle(node), box = node.getBoundingClientRect();
                const on = document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2);
                return { id: node.id || node.textContent.trim().slice(0, 30), outlined: style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2,
                    inSight: box.bottom > 0 && box.top < innerHeight && box.width > 0, uncovered: node === on || node.contains(on) || on?.contains(node) };
            });
            seen.push(now);
            if (now.id === id) return;
        }
        assert.fail(`${id} cannot be reached: ${seen.map((one) => one.id).join(', ')}`);
    };
    const select = async (value) => { // typing the option's beginning, as one does in a list
        await page.keyboard.type(value);
        await page.keyboard.press('Tab');
        await page.keyboard.press('Shift+Tab');
    };
    await tabTo('s-deck');
    await select(deck.name);
    assert.equal(await page.inputValue('#s-deck'), deck.id);
    await tabTo('s-stock');
    await select(stock.name);
    await page.waitForSelector('#answer .words');
    await tabTo('Why this number');
    await page.keyboard.press('Enter');
    await page.waitForSelector('.parts');
    await tabTo('l-bias');
    await page.keyboard.type(String(Math.round((deck.bias_dial.low + deck.bias_dial.high) / 2)));
    await tabTo('l-level');
    await page.keyboard.type(String(Math.round((deck.level_dial.low + deck.level_dial.high) / 2)));
    await page.keyboard.press('Enter');
    await page.waitForSelector('#receipt :text("Logged")');
    for (const one of seen) {
        assert.ok(one.outlined, `no outline at ${one.id}`);
        assert.ok(one.inSight && one.uncovered, `hidden focus at ${one.id}`);
    }
    await page.context().close();
});

test('printed: the setting black on white, without forms and buttons', async () => {
    const page = await withAnswer({ ...desk, colorScheme: 'dark' });
    await page.emulateMedia({ media: 'print', colorScheme: 'dark' });
    for (const gone of ['#start-form', '#log', '.top nav', '#notices', 'button']) for (const node of await page.locator(gone).all()) assert.equal(await node.isVisible(), false, gone);
    assert.equal(await page.locator('#answer .words').first().isVisible(), true);
    assert.equal(await page.locator('.ruler').first().isVisible(), true);
    const colours = await page.locator('#answer .words').first().evaluate((node) => [getComputedStyle(node).color, getComputedStyle(document.documentElement).backgroundColor, getComputedStyle(node.closest('section')).backgroundColor]);
    assert.deepEqual(colours, ['rgb(0, 0, 0)', 'rgb(255, 255, 255)', 'rgb(255, 255, 255)']);
    const pdf = await page.pdf({ format: 'A4' });
    assert.equal((pdf.toString('latin1').match(/\/Type\s*\/Page\b/g) ?? []).length, 1, 'one sheet of paper');
    await page.context().close();
});

test('forced colours: the ruler and the main button are still drawn in system colours', async () => {
    const page = await withAnswer({ ...desk, forcedColors: 'active' });
    const [canvas, ink] = await page.evaluate(() => {
        const probe = document.createElement('p');
        document.body.append(probe);
        const style = getComputedStyle(probe);
        return [getComputedStyle(document.documentElement).backgroundColor, style.color];
    });
    for (const kind of ['.pen', '.bracket', '.ruler .edge']) {
        const stroke = await page.locator(kind).first().evaluate((node) => getComputedStyle(node).stroke);
        assert.notEqual(stroke, canvas, kind);
        assert.equal(stroke, ink, kind);
    }
    assert.notEqual(await page.locator('#log-form button.main').evaluate((node) => getComputedStyle(node).borderTopColor), canvas);
    await page.context().close();
});

test('in the dark the greys are neutral and the paper is dark', async () => {
    const page = await openPage(browser, daemon.address, '', { ...desk, colorScheme: 'dark' });
    const [r, g, b] = await page.evaluate(() => getComputedStyle(document.documentElement).backgroundColor.match(/\d+/g).map(Number));
    assert.ok(r === g && g === b && r < 48, `${r} ${g} ${b}`);
    await page.context().close();
});
