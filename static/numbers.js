// SPDX-License-Identifier: GPL-3.0-or-later
// Numbers as people type and read them: comma or point, a real minus sign, decimals by the step.

// '' → { value: null }; a good number → { value }; else { wrong: what to do about it }.
export function readNumber(text) {
    const plain = text.trim().replace(/[\u2212\u2013]/g, '-').replace(/\s+/g, '');
    if (plain === '') return { value: null };
    if (plain.includes(',') && plain.includes('.')) return { wrong: 'Write either a comma or a point, not both: 1.5 or 1,5.' };
    if (!/^[+-]?(\d+([.,]\d*)?|[.,]\d+)$/.test(plain)) return { wrong: 'This is not a number. Write it like 1.5 or 1,5.' };
    return { value: Number(plain.replace(',', '.')) };
}

// A place in time may also be written 2:30 (minutes and seconds) or 1:02:30.
export function readSeconds(text) {
    const parts = text.trim().match(/^(?:(\d+):)?(\d+):(\d{2}(?:[.,]\d+)?)$/);
    if (!parts) return readNumber(text);
    return { value: Number(parts[1] ?? 0) * 3600 + Number(parts[2]) * 60 + Number(parts[3].replace(',', '.')) };
}

// Decimals that a step of this size needs.
export function decimals(step) {
    for (let places = 0; places < 4; places++)
        if (Math.abs(step * 10 ** places - Math.round(step * 10 ** places)) < 1e-6) return places;
    return 4;
}

export function number(value, places = 1) {
    const text = value.toFixed(places).replace('-', '\u2212');
    return /[1-9]/.test(text) ? text : text.replace('\u2212', '');
}

// The finest setting one can repeat; where a deck does not say it, what the unit suggests (the daemon's rule: half a mark, one step, one per cent, else about
// a hundredth of the dial).
export function stepOf(dial) {
    if (dial.step) return dial.step;
    const unit = dial.unit || 'mark';
    if (/^marks?$/.test(unit)) return 0.5;
    if (/^(steps?|%)$/.test(unit)) return 1;
    const rough = (dial.high - dial.low) / 100, power = 10 ** Math.floor(Math.log10(rough));
    return ([1, 2, 5].find((n) => n * power >= rough * 0.999) ?? 10) * power;
}

// A reading of this dial, as one would write it down; `fine` keeps what lies between two steps.
export function reading(dial, value, fine = false) {
    const places = decimals(stepOf(dial));
    const exact = fine ? Math.max(places, Math.min(2, decimals(Math.round(value * 100) / 100))) : places;
    return number(value, exact);
}

// ---- a reading in words: no sign stands alone, since dials differ in which way is more (the daemon's rules: server/trade/dial_words.c) ----

function zeroOf(dial) {
    if (typeof dial.zero === 'number') return dial.zero;
    const inside = (value) => value >= dial.low && value <= dial.high;
    if (inside(0) && dial.scale !== 'ratio') return 0;
    if (dial.scale === 'percent' && inside(100)) return 100;
    if (dial.scale === 'ratio') return 1;
    return /^o'clock$/i.test(dial.unit ?? '') && inside(12) ? 12 : 0;
}

function mannerOf(dial) {
    if (!dial.unit && (dial.scale === 'percent' || dial.scale === 'ratio')) return 'value';
    if (/^marks?$/i.test(dial.unit || 'mark')) return 'rotary';
    if (/^o'clock$/i.test(dial.unit)) return 'clock';
    return dial.scale === 'percent' || dial.scale === 'ratio' || dial.unit === '%' ? 'value' : 'counted';
}

function withUnit(dial, value) {
    const unit = (dial.unit || (dial.scale === 'percent' ? '%' : dial.scale === 'ratio' ? '' : 'mark')).replace(/([^s]{2})s$/i, '$1');
    const word = /^[A-Za-z][a-z]{2,}$/.test(unit) && unit !== 'percent';
    const plural = !word || Math.abs(value - 1) < 1e-9 ? '' : /([cs]h|[xsz])$/.test(unit) ? 'es' : 's';
    const exact = Math.round(value * 100) / 100; // a hundredth is finer than any dial can be read
    return `${number(exact, decimals(exact))} ${unit}${plural}`.trim();
}

const HOURS = ['twelve', 'one', 'two', 'three', 'four', 'five', 'six', 'seven', 'eight', 'nine', 'ten', 'eleven'];
function clock(value) {
    const minutes = ((Math.round(value * 60) % 720) + 720) % 720, past = minutes % 60, hour = HOURS[Math.floor(minutes / 60)], next = HOURS[(Math.floor(minutes / 60) + 1) % 12];
    const named = { 0: `${hour} o’clock`, 15: `a quarter past ${hour}`, 30: `half past ${hour}`, 45: `a quarter to ${next}` }[past];
    return named ?? (past < 30 ? `${count(past, 'minute')} past ${hour}` : `${count(60 - past, 'minute')} to ${next}`);
}

// "clockwise 1.5 marks", "at the centre", "down 2 steps", "108 %", "half past one".
export function place(dial, value) {
    if (value === null || value === undefined) return '–';
    const zero = zeroOf(dial), rise = value - zero, manner = mannerOf(dial);
    if (manner === 'clock') return clock(value);
    if (manner === 'value' || Math.abs(zero - (dial.low + dial.high) / 2) > 0.1 * (dial.high - dial.low)) return withUnit(dial, value);
    if (Math.abs(rise) < 1e-9) return 'at the centre';
    const [up, down] = manner === 'rotary' ? ['clockwise', 'anticlockwise'] : ['up', 'down'];
    return `${rise > 0 ? up : down} ${withUnit(dial, Math.abs(rise))}`;
}

// "1 and 2.55 marks anticlockwise", "84 and 112 %", "anticlockwise 0.5 marks and clockwise 1 mark": what lies between is meant.
export function placeRange(dial, low, high) {
    const ends = [place(dial, low), place(dial, high)], part = /^(clockwise|anticlockwise|up|down) ([0-9.]+) (.+)$/;
    const [one, two] = ends.map((text) => text.match(part));
    if (one && two && one[1] === two[1]) {
        const [near, far] = [one, two].toSorted((a, b) => a[2] - b[2]);
        return `${near[2]} and ${far[2]} ${far[3]} ${far[1]}`;
    }
    const units = ends.map((text) => text.match(/^(-?[0-9.]+) (.+)$/));
    return units.every(Boolean) ? `${units[0][1]} and ${units[1][1]} ${units[1][2]}` : ends.join(' and ');
}

export function count(n, one, many = `${one}s`) {
    return `${n} ${n === 1 ? one : many}`;
}

// UUID of version 7 (RFC 9562, 5.7): 48 bits of time first, so that the book's index grows at its end. getRandomValues is also there where randomUUID is not, on plain http.
export function newUuid(now = Date.now()) {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    for (let i = 5, rest = now; i >= 0; i--, rest = Math.floor(rest / 256)) bytes[i] = rest % 256;
    bytes[6] = (bytes[6] & 0x0f) | 0x70;
    bytes[8] = (bytes[8] & 0x3f) | 0x80;
    const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, '0')).join('');
    return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, '$1-$2-$3-$4-$5');
}

// RFC 3339 with this place's own offset.
export function timestamp(date = new Date()) {
    const two = (n) => String(n).padStart(2, '0');
    const east = -date.getTimezoneOffset();
    const zone = `${east < 0 ? '-' : '+'}${two(Math.floor(Math.abs(east) / 60))}:${two(Math.abs(east) % 60)}`;
    return `${date.getFullYear()}-${two(date.getMonth() + 1)}-${two(date.getDate())}T${two(date.getHours())}:${two(date.getMinutes())}:${two(date.getSeconds())}${zone}`;
}

// How long ago, in words.
export function age(then, now = Date.now()) {
    const minutes = Math.max(0, Math.round((now - then) / 60000));
    if (minutes < 1) return 'just now';
    if (minutes < 90) return `${count(minutes, 'minute')} ago`;
    const hours = Math.round(minutes / 60);
    return hours < 36 ? `${count(hours, 'hour')} ago` : `${count(Math.round(hours / 24), 'day')} ago`;
}
