// SPDX-License-Identifier: GPL-3.0-or-later
// Numbers as typed and as written, without a browser.
import test from 'node:test';
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';

// As a data address, because static/ has no package file that would tell node it holds modules.
const source = readFileSync(new URL('../../static/numbers.js', import.meta.url), 'utf8');
const { age, decimals, newUuid, number, place, placeRange, reading, readNumber, readSeconds, stepOf, timestamp } = await import(`data:text/javascript,${encodeURIComponent(source)}`);

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

test('a UUID is of version 7, begins with the time (RFC 9562, 5.7) and is never the same', () => {
    const made = Array.from({ length: 500 }, () => newUuid());
    for (const id of made) assert.match(id, /^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/);
    assert.equal(new Set(made).size, 500);
    // the time of the standard's own example, A.6: 2022-02-22T14:22:22-05:00
    assert.match(newUuid(Date.parse('2022-02-22T14:22:22-05:00')), /^017f22e2-79b0-7/);
    const times = [1, 1e12, 1.7e12, 1.7e12 + 1, 2 ** 47].map((time) => newUuid(time));
    assert.deepEqual(times, times.toSorted());
});

test('a reading in words: no sign stands alone', () => {
    const marks = { low: -4, high: 4, step: 0.25, scale: 'db' };
    for (const [dial, value, words] of [[marks, 1.5, 'clockwise 1.5 marks'], [marks, -1, 'anticlockwise 1 mark'], [marks, 0, 'at the centre'], [marks, -0.123, 'anticlockwise 0.12 marks'],
        [{ low: 0, high: 10, scale: 'learn' }, 3, '3 marks'], [{ low: 0, high: 10, zero: 5, scale: 'learn' }, 3, 'anticlockwise 2 marks'], [{ low: -16, high: 16, unit: 'step', scale: 'learn' }, -7, 'down 7 steps'],
        [{ low: 60, high: 150, scale: 'percent', zero: 100 }, 108, '108 %'], [{ low: 0.5, high: 1.6, unit: 'times', scale: 'ratio' }, 1.05, '1.05 times'], [{ low: 7, high: 17, unit: "o'clock", scale: 'learn' }, 13.5, 'half past one'],
        [{ low: 7, high: 17, unit: "o'clock", scale: 'learn' }, 9.75, 'a quarter to ten'], [{ low: -3, high: 3, unit: 'notch', scale: 'db' }, 2, 'up 2 notches'], [{ low: -3, high: 3, unit: 'dB', scale: 'db' }, 2, 'up 2 dB'], [marks, null, '–']])
        assert.equal(place(dial, value), words);
    for (const [dial, low, high, words] of [[marks, -2.55, -1, '1 and 2.55 marks anticlockwise'], [marks, 0.5, 2, '0.5 and 2 marks clockwise'], [marks, -0.5, 1, 'anticlockwise 0.5 marks and clockwise 1 mark'],
        [{ low: 60, high: 150, scale: 'percent', zero: 100 }, 84, 112, '84 and 112 %'], [marks, 0, 1, 'at the centre and clockwise 1 mark'], [{ low: -16, high: 16, unit: 'step', scale: 'learn' }, -7, -1, '1 and 7 steps down']])
        assert.equal(placeRange(dial, low, high), words);
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
