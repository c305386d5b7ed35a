// SPDX-License-Identifier: GPL-3.0-or-later
// Numbers as typed and as written, without a browser.
import test from 'node:test';
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';

// As a data address, because static/ has no package file that would tell node it holds modules.
const source = readFileSync(new URL('../../static/numbers.js', import.meta.url), 'utf8');
const { age, decimals, newUuid, number, reading, readNumber, readSeconds, stepOf, timestamp } = await import(`data:text/javascript,${encodeURIComponent(source)}`);

test('comma and point mean the same, both together are refused', () => {
    for (const [typed, value] of [['1.5', 1.5], ['1,5', 1.5], ['-0,25', -0.25], ['\u22120.25', -0.25], [' 7 ', 7], ['+3', 3], [',5', 0.5], ['5,', 5], ['', null], ['  ', null]])
        assert.deepEqual(readNumber(typed), { value }, typed);
    for (const typed of ['1.000,5', '1,000.5', '1,2,3', '1.2.3', 'about 2', '1e5', '0x10', 'Infinity', 'NaN', '--1', '-', '.'])
        assert.ok(readNumber(typed).wrong, typed);
    assert.match(readNumber('1.000,5').wrong, /not both/);
});

test('a place in time may be minutes and seconds', () => {
    for (const [typed, value] of [['2:30', 150], ['0:05', 5], ['1:02:30', 3750], ['90', 90], ['12,5', 12.5]]) assert.deepEqual(readSeconds(typed), { value }, typed);
    for (const typed of ['2:3', ':30', '1:2:3']) assert.ok(readSeconds(typed).wrong, typed);
});

test('decimals follow the step, the minus is a minus, zero has no sign', () => {
    assert.equal(decimals(0.25), 2);
    assert.equal(decimals(5), 0);
    assert.equal(number(-1.5), '\u22121.5');
    assert.equal(number(-0.04), '0.0');
    assert.equal(reading({ low: -4, high: 4, step: 0.5 }, 1), '1.0');
    assert.equal(reading({ low: -4, high: 4, step: 0.5 }, 1.25, true), '1.25');
    assert.equal(stepOf({ low: 80, high: 120, unit: '%' }), 1);
    assert.equal(stepOf({ low: 0, high: 10, unit: "o'clock" }), 0.1);
});

test('a UUID is of version 4 and never the same', () => {
    const made = Array.from({ length: 500 }, newUuid);
    for (const id of made) assert.match(id, /^[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/);
    assert.equal(new Set(made).size, 500);
});

test('a time is RFC 3339 with its offset and names the same instant', () => {
    const now = new Date('2026-03-01T19:04:05Z');
    assert.match(timestamp(now), /^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d[+-]\d\d:\d\d$/);
    assert.equal(Date.parse(timestamp(now)), now.getTime());
});

test('ages in words', () => {
    const now = 1e12;
    for (const [ago, words] of [[5, 'just now'], [60, '1 minute ago'], [3600, '60 minutes ago'], [7200, '2 hours ago'], [3 * 86400, '3 days ago']]) assert.equal(age(now - ago * 1000, now), words);
});
