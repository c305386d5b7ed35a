// SPDX-License-Identifier: GPL-3.0-or-later
// The club at a glance: newest results, what to try next, tapes by decks, who logged.
import { find, make, replace } from './dom.js';
import { get } from './api.js';
import { deckOf, loadBook, stockOf } from './book.js';
import { age, count, decimals, number, place, stepOf } from './numbers.js';
import { startPage } from './page.js';

const SHOWN = 12;        // newest results in the table
const LOOKED_AT = 500;   // newest results that activity is counted from: one page of the list
const ROUGH_DB = 0.4;    // a guess with a larger standard error is rough: one in three is off by more
const DAYS = 90;

let book;
const deckName = (id) => deckOf(book, id)?.name ?? id;
const stockName = (id) => stockOf(book, id)?.name ?? id;
const trouble = (place, error) => error.status !== 401 && replace(place, make('p', { class: 'problem' }, `This cannot be read: ${error.message}.`.replace('..', '.')));

// A wide table scrolls by itself, and by keyboard too.
const wide = (label, table) => make('div', { class: 'scroll', tabindex: '0', role: 'region', 'aria-label': label }, table);
const heads = (...names) => make('thead', {}, make('tr', {}, names.map((name) => make('th', { scope: 'col' }, name))));

// A dial's reading in words, "–" without one.
function dial(deck, which, value) {
    const there = deck?.[`${which}_dial`];
    if (value === null || value === undefined) return '–';
    return there ? place(there, value) : number(value, decimals(stepOf({ low: 0, high: 100 })));
}

function newest(rows) {
    if (!rows.length) return make('p', {}, 'Nothing has been logged yet. ', make('a', { href: './' }, 'Log the first result'));
    return wide('Newest results, table', make('table', {}, heads('When', 'Tape', 'Deck', 'Bias', 'Record trim', 'Who'),
        make('tbody', {}, rows.slice(0, SHOWN).map((row) => make('tr', {}, make('td', {}, age(Date.parse(row.made_at))),
            make('th', { scope: 'row' }, make('a', { href: `stock.html?stock=${encodeURIComponent(row.stock)}` }, stockName(row.stock))),
            make('td', {}, make('a', { href: `deck.html?deck=${encodeURIComponent(row.deck)}` }, deckName(row.deck))),
            make('td', {}, dial(deckOf(book, row.deck), 'bias', row.bias)), make('td', {}, dial(deckOf(book, row.deck), 'level', row.level)),
            make('td', {}, [row.member ?? 'somebody', row.void && ' (void)', row.origin && ' (another club)']))))));
}

function activity(rows) {
    const members = new Map();
    const since = Date.now() - DAYS * 86400000;
    for (const row of rows) {
        const name = row.member ?? 'somebody';
        const one = members.get(name) ?? { name, recent: 0, last: 0, decks: new Set() };
        const made = Date.parse(row.made_at);
        one.recent += made >= since;
        one.last = Math.max(one.last, made);
        one.decks.add(row.deck);
        members.set(name, one);
    }
    const list = [...members.values()].sort((a, b) => b.recent - a.recent || b.last - a.last);
    if (!list.length) return make('p', {}, 'Nobody yet.');
    return wide('Who logged, table', make('table', {}, make('caption', { class: 'small' }, `Of the ${count(rows.length, 'newest result')}`), heads('Member', `Last ${DAYS} days`, 'Decks', 'Last result'),
        make('tbody', {}, list.map((one) => make('tr', {}, make('th', { scope: 'row' }, one.name), make('td', {}, String(one.recent)), make('td', {}, String(one.decks.size)), make('td', {}, age(one.last)))))));
}

function tryNext(grid) {
    if (!grid.try_next.length) return make('p', {}, 'With two decks or two tapes in the book this page can say.');
    return make('ol', {}, grid.try_next.slice(0, 6).map((one) => make('li', {}, make('strong', {}, `${stockName(one.stock)} on ${deckName(one.deck)}`),
        `: ${one.results ? count(one.results, 'result') : 'never together'}, known within ${number(one.bias_se_db, 2)} dB of bias; takes ${number(one.fall_percent, 1)} % off what the club does not know`)));
}

function cell(grid, row, k, next) {
    const results = row.results[k];
    if (results === null) return make('td', {});
    const chosen = next.has(`${row.deck} ${grid.stocks[k].id}`);
    const guess = results ? null : make('span', { class: row.bias_se_db[k] > ROUGH_DB ? 'far' : 'guess' }, `±${number(row.bias_se_db[k], 1)}`);
    return make('td', { class: chosen ? 'mark' : null, 'aria-label': chosen ? `${results ? count(results, 'result') : `guess, within ${number(row.bias_se_db[k], 1)} dB`}, try next` : null },
        chosen ? '+ ' : null, guess ?? String(results));
}

function coverage(grid) {
    if (!grid.decks.length || !grid.stocks.length) return make('p', {}, 'The book has no decks or no tapes yet. ', make('a', { href: 'enter.html' }, 'Enter the first'));
    const next = new Set(grid.try_next.map((one) => `${one.deck} ${one.stock}`));
    const left = [grid.decks_left_out && count(grid.decks_left_out, 'deck'), grid.stocks_left_out && count(grid.stocks_left_out, 'tape')].filter(Boolean).join(' and ');
    return [wide('Tapes by decks, table', make('table', { class: 'grid' }, make('thead', {}, make('tr', {}, make('td', {}), grid.decks.map((deck) => make('th', { scope: 'col' }, deck.name)))),
        make('tbody', {}, grid.stocks.map((stock, k) => make('tr', {}, make('th', { scope: 'row' }, stock.name), grid.rows.map((row) => cell(grid, row, k, next))))))),
        left ? make('p', { class: 'small' }, `${left} with few results left out.`) : null];
}

function record(found) {
    if (!found.calibrations) return null;
    return `Half of ${count(found.calibrations, 'suggestion')} lay within ${number(found.median_error_db, 2)} dB of the bias that was then found; ${number(100 * found.range_coverage, 0)} % of results fell inside the range that was given. `;
}

async function ready() {
    try {
        book = await loadBook();
    } catch (error) {
        return trouble(find('#newest'), error);
    }
    get('api/calibrations', { newest: 1, limit: LOOKED_AT }).then(({ calibrations }) => {
        replace(find('#newest'), newest(calibrations));
        replace(find('#activity'), activity(calibrations));
    }).catch((error) => trouble(find('#newest'), error));
    get('api/track-record').then((found) => find('#record').prepend(record(found) ?? '')).catch(() => {});
    return get('api/coverage').then((grid) => {
        replace(find('#try-next'), tryNext(grid));
        replace(find('#grid'), coverage(grid));
    }).catch((error) => trouble(find('#grid'), error));
}
startPage(ready);
