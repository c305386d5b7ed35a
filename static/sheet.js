// SPDX-License-Identifier: GPL-3.0-or-later
// Sheets to print: every tape on one deck, one tape on every deck, or both as a note to fold into the cassette box.
import { find, make } from './dom.js';
import { get } from './api.js';
import { className, deckOf, loadBook, stockOf } from './book.js';
import { fillDecks, fillStocks } from './fields.js';
import { count, readNumber } from './numbers.js';
import { startPage } from './page.js';
import { basisSentence, expectation } from './setting.js';
import { asked, day, fill, keepAddress, minus, trouble } from './know.js';

const form = find('#choose'), deckSelect = find('#h-deck'), stockSelect = find('#h-stock');
const DENSE_FROM = 36, FEW = 22; // rows that fit one page at the usual size, and at a large one
let book = null;

const mark = (set) => (set.dial === null ? ['–', ''] : [`${minus(set.mark)}${set.beyond_dial ? ' (end)' : ''}`, `${minus(set.low90_mark)} … ${minus(set.high90_mark)}`]);
const sense = (dial, more, less) => (dial ? `A higher reading is ${dial.plus === 'less' ? less : more}. ` : '');
const restsOn = (row) => (row.calibrations ? count(row.calibrations, 'result') : row.basis);

function paper(sheet, deck) {
    const byDeck = !!deck;
    const title = byDeck ? `${sheet.name}: where to start` : `${sheet.name} on every deck`;
    const settings = (set) => { const [dial, span] = mark(set); return make('td', {}, make('span', { class: 'dial' }, dial), ' ', make('span', { class: 'span' }, span, set.dial !== null && !byDeck ? ` ${set.unit}` : '')); };
    find('#title').textContent = title;
    document.title = `${title} – biasbook`;
    find('#sheet').className = sheet.rows.length > DENSE_FROM ? 'dense' : sheet.rows.length <= FEW ? 'few' : '';
    const head = (text, kind) => make('th', { scope: 'col', class: kind }, text);
    const unit = (set) => (byDeck && set?.unit ? `, ${set.unit}` : '');
    const first = sheet.rows[0];
    if (!first) return make('p', { class: 'note' }, 'Nothing to put on this sheet yet. Untick “only what was logged” to see what the book would suggest all the same.');
    return [
        make('p', { class: 'small' }, `Dial readings for a flat result; between the outer ones nine results in ten land. ${byDeck ? sense(deck.bias_dial, 'more bias, duller', 'less bias, brighter') + sense(deck.level_dial, 'more record gain, louder', 'less record gain, quieter') : ''}${sheet.recordings ? `Recorded over ${sheet.recordings} times. ` : ''}As of ${day(sheet.made_at)}, change ${sheet.as_of}.`),
        make('div', { class: 'scroll', tabindex: '0', role: 'region', 'aria-label': 'The table' }, make('table', {},
            make('thead', {}, make('tr', {}, head(byDeck ? 'Tape' : 'Deck'), byDeck ? head('Class', 'side') : null, head(`Bias${unit(first.bias)}`), head(`Record trim${unit(first.level)}`), head('Rests on', 'side'))),
            make('tbody', {}, sheet.rows.map((row) => make('tr', {}, make('th', { scope: 'row' }, byDeck ? row.stock_name : row.deck_name), byDeck ? make('td', { class: 'side' }, className(book, row.class).split(',')[0]) : null,
                settings(row.bias), settings(row.level), make('td', { class: 'side' }, restsOn(row)))))))];
}

function boxNote(answer, deck, stock) {
    const say = (what, set) => (set.dial === null ? `${what}: no dial on this deck.` : `${what}: ${set.words}. Nine results in ten land between ${set.range90_dial[0]} and ${set.range90_dial[1]} ${set.unit}.`);
    find('#title').textContent = 'A note for the cassette box';
    return make('div', { class: 'boxnote' },
        make('p', {}, make('strong', {}, stock.name), `, ${className(book, stock.class)}, on `, make('strong', {}, deck.name), '.'),
        make('p', {}, say('Bias', answer.bias)), make('p', {}, say('Record trim', answer.level)), make('p', {}, expectation(answer.expect)),
        make('p', { class: 'fold', 'aria-hidden': 'true' }), make('p', {}, basisSentence(answer.basis)),
        answer.cautions.map((caution) => make('p', {}, caution.text)), make('p', {}, `Written on ${day(new Date().toISOString())}. Check with the two tones before you record.`));
}

function show() {
    const deck = deckOf(book, deckSelect.value), stock = stockOf(book, stockSelect.value);
    const recordings = readNumber(find('#h-recordings').value).value ?? '';
    const query = { sort: find('#h-sort').value, logged: find('#h-logged').checked ? 1 : '', recordings };
    keepAddress({ deck: deck?.id, stock: stock?.id, ...query, logged: find('#h-logged').checked ? '' : '0' });
    find('#sheet').className = '';
    if (!deck && !stock) return;
    fill('#sheet', async () => {
        if (deck && stock) return boxNote(await get('api/suggestion', { deck: deck.id, stock: stock.id, recordings }), deck, stock);
        return deck ? paper(await get(`api/decks/${deck.id}/sheet`, query), deck) : paper(await get(`api/stocks/${stock.id}/sheet`, query), null);
    });
}

function fillTapes() {
    fillStocks(stockSelect, book, { medium: deckOf(book, deckSelect.value)?.medium, chosen: stockSelect.value || asked().stock });
    stockSelect.options[0].textContent = 'every tape';
}

async function ready() {
    const query = asked();
    try {
        book = await loadBook();
    } catch (error) {
        return trouble(find('#sheet'), error);
    }
    fillDecks(deckSelect, book, query.deck);
    deckSelect.options[0].textContent = 'every deck';
    fillTapes();
    for (const name of ['sort', 'recordings']) if (query[name]) find(`#h-${name}`).value = query[name];
    if (query.logged === '0') find('#h-logged').checked = false;
    return show();
}
form.addEventListener('submit', (event) => event.preventDefault());
deckSelect.addEventListener('change', fillTapes);
form.addEventListener('change', show);
find('#print').addEventListener('click', () => print());
startPage(ready);
