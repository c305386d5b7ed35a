// SPDX-License-Identifier: GPL-3.0-or-later
// What the club knows of one tape: what it wants, on which deck, how alike its cassettes are, whether it is what its label says, and its neighbours.
import { find, make } from './dom.js';
import { get } from './api.js';
import { className, deckOf, loadBook, stockOf } from './book.js';
import { describeTape, fillStocks, searchField, usedLately } from './fields.js';
import { remember, remembered } from './kept.js';
import { count, number } from './numbers.js';
import { nameEntries, startPage } from './page.js';
import { amount, asked, chance, day, db, drawing, fill, keepAddress, known, more, moreLess, odds, part, plusMinus, setting, table, trouble } from './know.js';

const select = find('#k-stock'), deckSelect = find('#k-deck');
let book = null;

const deckLink = (id) => make('a', { href: `deck.html?deck=${id}` }, deckOf(book, id)?.name ?? id);
const path = (id) => `api/stocks/${encodeURIComponent(id)}`;
const fact = (name, ...value) => make('div', {}, make('dt', {}, name), make('dd', {}, value));

function doubts(label) {
    const rather = (one) => `behaves rather like ${className(book, one.rather)}: odds ${odds(one.odds)} (it wants ${amount('bias', one.bias_apart_db)} and ${amount('level', one.level_apart_db)} than its label lets expect, over ${count(one.calibrations, 'result')})`;
    const list = [label.stock?.doubtful ? `This tape ${rather(label.stock)}.` : null, ...label.batches.map((one) => `Batch ${one.name} ${rather(one)}.`), ...label.tapes.map((one) => `The cassette or reel “${one.name}” ${rather(one)}.`)].filter(Boolean);
    return list.length ? make('div', { class: 'problem' }, make('p', {}, make('strong', {}, 'Not what its label says?')), list.map((text) => make('p', {}, text))) : null;
}

function sheetFigures(s) {
    if (!s.sheet) return null;
    const row = (name, one) => (one ? [name, moreLess(one.said_db), moreLess(one.found_db, one.found_se_db), plusMinus(one.club_share, one.club_share_se)] : null);
    return [make('h2', {}, 'The maker’s figure'), table('The maker’s published figure against what the club found, dB against the class', ['', '#Published', '#Found', '#Of such figures the club bears out'],
        [row('Bias', s.sheet.bias), row('Record gain', s.sheet.level)].filter(Boolean))];
}

function view(s, stock) {
    const deckRows = s.on_decks.toSorted((a, b) => b.calibrations - a.calibrations).map((one) => [deckLink(one.deck), String(one.calibrations),
        setting(deckOf(book, one.deck)?.bias_dial, one.bias), moreLess(one.bias.db, (one.bias.high90_db - one.bias.low90_db) / 2),
        setting(deckOf(book, one.deck)?.level_dial, one.level), moreLess(one.level.db, (one.level.high90_db - one.level.low90_db) / 2)]);
    return [
        make('p', { class: 'small' }, describeTape(book, stock)),
        make('p', { class: 'words' }, make('strong', {}, `${amount('bias', s.bias.db)}, ${amount('level', s.level.db)}`),
            make('span', {}, `than the preset of an average deck (± ${number(1.645 * s.bias.se_db, 1)} and ± ${number(1.645 * s.level.se_db, 1)} dB), from ${count(s.calibrations, 'result')} by ${count(s.members, 'member')} on ${count(s.decks, 'deck')}.`)),
        doubts(s.label),
        make('p', { class: 'next' }, make('a', { href: './', click: () => remember('stock', s.stock) }, 'Where to start with it'), ' · ', make('a', { href: 'bench.html', click: () => remember('stock', s.stock) }, 'At the bench'), ' · ',
            make('a', { href: `sheet.html?stock=${s.stock}` }, 'Its sheet for every deck, to print')),
        make('h2', {}, 'On each deck'),
        drawing(`charts/stocks/${s.stock}.svg`, { kind: 'decks' }), drawing(`charts/stocks/${s.stock}.svg`, { kind: 'decks', response: 'level' }),
        table('Starting setting on each deck; ± is how far from it nine results in ten land at most', ['Deck', '#Results', 'Bias dial', '#Bias, dB', 'Trim dial', '#Record gain, dB'], deckRows),
        make('h2', {}, 'How it behaves'),
        make('dl', { class: 'facts' },
            fact('Its cassettes or reels differ by', `${db(s.bias.tape_sd_db)} bias, ${db(s.level.tape_sd_db)} level`), fact('Its batches differ by', `${db(s.bias.batch_sd_db)} bias, ${db(s.level.batch_sd_db)} level`),
            fact('Each doubling of times recorded over', `${amount('bias', s.bias.per_doubling_db, 2)}, ${amount('level', s.level.per_doubling_db, 2)}`), fact('It lined up', part(s.settled_part)), fact('A dial ran out', part(s.stopped_part)),
            fact('High tone wanders', known(s.unsteady_db) ? `${db(s.unsteady_db, 1)} (${s.unsteady_calibrations} say)` : 'nobody said'), fact('Still clean up to', known(s.peak_db) ? `${db(s.peak_db, 1)} over the deck’s 0 (${s.peak_calibrations} say)` : 'nobody said'),
            fact('The middle result set', known(s.bias.median_db) ? `${amount('bias', s.bias.median_db, 2)} than its deck’s preset` : '–'), fact('Named cassettes, batches', `${s.tapes}, ${s.batches}`), fact('Left out of the fit', count(s.left_out, 'result'))),
        sheetFigures(s),
        make('h2', {}, 'Results over time'),
        drawing(`charts/stocks/${s.stock}.svg`, { kind: 'time' }),
        more('The results as a table', table(`Results, newest first${s.more ? ' (the newest only)' : ''}; dB on the deck’s own dials for a flat result, and how far that was from what was expected`,
            ['Made', 'Deck', 'Member', 'Cassette, batch', '#Bias', '#off by', '#Level', '#off by', 'Note'], s.results.map((one) => [day(one.made_at), deckLink(one.deck), one.member, [one.tape, one.batch].filter(Boolean).join(', '),
                moreLess(one.bias_db), moreLess(one.bias_apart_db), moreLess(one.level_db), moreLess(one.level_apart_db), one.left_out ? `left out: ${one.left_out}` : '']))),
        more('Who logged it on what', table('Results by deck and member', ['Deck', 'Member', '#Results'], s.logged.map((one) => [deckLink(one.deck), one.member, String(one.calibrations)]))),
    ];
}

async function neighbours() {
    const query = { deck: deckSelect.value, within_db: find('#k-within').value };
    const found = await get(`${path(select.value)}/alike`, { ...query, all: 1 });
    const alike = found.stocks.filter((one) => one.alike), row = (one) => [make('a', { href: `stock.html?stock=${one.stock}` }, one.name), className(book, one.class), moreLess(one.bias_apart_db, one.bias_apart_se_db),
        moreLess(one.level_apart_db, one.level_apart_se_db), chance(one.chance)];
    deckSelect.value = found.deck;
    return [
        make('p', {}, alike.length ? `${count(alike.length, 'tape')} may follow without touching the dials of ${deckOf(book, found.deck)?.name}.` : 'None of the club’s tapes comes so near on this deck.'),
        alike.length ? table('Alike: apart by, ± one standard error, and the chance that it truly is so near', ['Tape', 'Class', '#Bias, dB', '#Level, dB', '#Chance'], alike.map(row)) : null,
        drawing(`charts/stocks/${select.value}.svg`, { kind: 'alike', ...query }),
        more('All other tapes as a table', table('All others', ['Tape', 'Class', '#Bias, dB', '#Level, dB', '#Chance'], found.stocks.filter((one) => !one.alike).map(row))),
    ];
}

function show() {
    const stock = stockOf(book, select.value);
    find('#beside').hidden = !stock;
    if (!stock) return;
    keepAddress({ stock: stock.id });
    remember('recent', usedLately(remembered('recent', []), stock.id));
    find('#title').textContent = stock.name;
    document.title = `${stock.name} – biasbook`;
    const medium = stock.medium ?? (stock.class.startsWith('reel') ? 'reel' : 'cassette');
    const kept = asked().deck ?? remembered('deck');
    deckSelect.replaceChildren(make('option', { value: '' }, 'the deck it was logged on most'), ...book.decks.filter((one) => one.medium === medium).map((one) => make('option', { value: one.id }, one.name)));
    deckSelect.value = kept ?? '';
    if (deckSelect.selectedIndex < 0) deckSelect.value = '';
    fill('#found', async () => view(await get(`${path(stock.id)}/statistics`), stock));
    fill('#neighbours', neighbours);
}

async function ready() {
    try {
        book = await loadBook();
    } catch (error) {
        return trouble(find('#found'), error);
    }
    nameEntries(book);
    const refill = (like = '') => fillStocks(select, book, { chosen: select.value || (asked().stock ?? remembered('stock')), recent: remembered('recent', []), like });
    refill();
    searchField(select, book, (like) => { refill(like); if (select.value) show(); });
    return show();
}
find('#choose').addEventListener('submit', (event) => event.preventDefault());
select.addEventListener('change', show);
find('#alike').addEventListener('change', () => fill('#neighbours', neighbours));
find('#alike').addEventListener('submit', (event) => event.preventDefault());
startPage(ready);
