// SPDX-License-Identifier: GPL-3.0-or-later
// What the pages of knowledge share: the deck or tape in the address, amounts in words, tables, the daemon's drawings at the width there is.
import { find, make, replace } from './dom.js';
import { ask } from './api.js';
import { number, place } from './numbers.js';

export const asked = () => Object.fromEntries(new URLSearchParams(location.search));

// Keeps the page's question in its address, so that it can be linked, printed and gone back to.
export function keepAddress(query) {
    const search = new URLSearchParams(Object.entries(query).filter(([, value]) => value)).toString();
    history.replaceState(null, '', search ? `?${search}` : location.pathname);
}

export const known = (value) => value !== null && value !== undefined;
export const db = (value, places = 2) => (known(value) ? `${number(value, places)} dB` : '–');
const words = { bias: ['more bias', 'less bias'], level: ['more record gain', 'less record gain'] };

// 0.42 → "0.4 dB more bias"
export function amount(response, value, places = 1) {
    if (!known(value)) return 'not known yet';
    if (Math.abs(value) < 0.5 * 10 ** -places) return response === 'bias' ? 'no other bias' : 'no other record gain';
    return `${number(Math.abs(value), places)} dB ${words[response][value > 0 ? 0 : 1]}`;
}
export const plusMinus = (value, se) => (known(value) ? `${number(value, 2)}${known(se) ? ` ± ${number(se, 2)}` : ''}` : '–');
// Which way a dB figure goes, in words: "0.42 more ± 0.10".
export const moreLess = (value, se, more = 'more', less = 'less') => (!known(value) ? '–' : `${number(Math.abs(value), 2)}${Math.abs(value) < 0.005 ? '' : ` ${value > 0 ? more : less}`}${known(se) ? ` ± ${number(se, 2)}` : ''}`);
// A setting on its dial, in words.
export const setting = (dial, set) => (dial && set && known(set.dial) ? `${place(dial, set.dial)}${set.beyond_dial ? ' (its end)' : ''}` : 'no dial');
export const day = (time) => (time ?? '').slice(0, 10);
export const part = (value) => (known(value) ? `${number(100 * value, 0)} %` : '–');
export const chance = (value) => (!known(value) ? '–' : value > 0.995 ? 'nearly sure' : value < 0.005 ? 'hardly' : `${number(100 * value, 0)} %`);
export const odds = (value) => (value >= 1000 ? 'more than 1000 to 1' : value >= 10 ? `${number(value, 0)} to 1` : `${number(value, 1)} to 1`);

// heads: ['Deck', '#Results', …]: # stands for a column of figures. rows: arrays; the first cell heads its row.
export function table(caption, heads, rows) {
    const figure = (i) => (heads[i]?.startsWith('#') ? 'figure' : null);
    if (!rows.length) return make('p', { class: 'small' }, `${caption}: nothing yet.`);
    return make('div', { class: 'scroll', tabindex: '0', role: 'region', 'aria-label': caption }, make('table', {}, make('caption', { class: 'small' }, caption),
        make('thead', {}, make('tr', {}, heads.map((head, i) => make('th', { scope: 'col', class: figure(i) }, head.replace(/^#/, ''))))),
        make('tbody', {}, rows.map((row) => make('tr', {}, row.map((cell, i) => make(i ? 'td' : 'th', { scope: i ? null : 'row', class: figure(i) }, cell)))))));
}

export const more = (summary, ...children) => make('details', {}, make('summary', {}, summary), children);

// A drawing of the daemon taken into the page, at a width that keeps its letters readable; drawn anew when the width changes much.
const STEPS = [288, 340, 420, 520, 640, 760, 900, 1080];
export function drawing(path, query = {}) {
    const place = make('div', { class: 'drawing' });
    let drawn = 0;
    const draw = async () => {
        const room = Math.floor(place.clientWidth);
        const width = STEPS.filter((step) => step <= room).at(-1) ?? 280;
        if (!room || width === drawn) return;
        drawn = width;
        try {
            const search = new URLSearchParams(Object.entries({ ...query, width }).filter(([, value]) => known(value) && value !== '')).toString();
            const { value } = await ask('GET', `${path}?${search}`, { headers: { accept: 'image/svg+xml' } });
            const root = new DOMParser().parseFromString(value, 'image/svg+xml').documentElement;
            if (root.localName === 'svg' && drawn === width) replace(place, document.importNode(root, true));
        } catch {
            replace(place, make('p', { class: 'small' }, 'The drawing cannot be had just now; the table says the same.'));
        }
    };
    new ResizeObserver(draw).observe(place);
    return place;
}

export function trouble(place, error) {
    if (error.status !== 401) replace(place, make('p', { class: 'problem' }, `This cannot be read: ${error.message}.`.replace('..', '.')));
}

// Shows what `build` makes, or why not; only the last question asked counts.
const turns = new Map();
export async function fill(selector, build) {
    const place = find(selector), turn = (turns.get(selector) ?? 0) + 1;
    turns.set(selector, turn);
    place.setAttribute('aria-busy', 'true');
    try {
        const made = await build();
        if (turns.get(selector) === turn) replace(place, made);
    } catch (error) {
        if (turns.get(selector) === turn) trouble(place, error);
    } finally {
        if (turns.get(selector) === turn) place.removeAttribute('aria-busy');
    }
}
