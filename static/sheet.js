// SPDX-License-Identifier: GPL-3.0-or-later
// Sheets to print: every tape on one deck, one tape on every deck, or both as a note to fold into the cassette box.
import { find, make } from './dom.js';
import { get } from './api.js';
import { className, deckOf, loadBook, stockOf } from './book.js';
import { fillDecks, fillStocks } from './fields.js';
import { count, placeRange, readNumber } from './numbers.js';
import { startPage } from './page.js';
import { ruler } from './ruler.js';
import { basisSentence, expectation } from './setting.js';
import { asked, day, fill, keepAddress, trouble } from './know.js';

const form = find('#choose'), deckSelect = find('#h-deck'), stockSelect = find('#h-stock');
let book = null;

const restsOn = (row) => (row.calibrations ? `rests on ${count(row.calibrations, 'result')}` : row.basis);

// One setting: the sentence, and the ruler with the bracket under it.
function line(what, dial, set) {
    if (!dial || set.dial === null) return make('div', { class: 'line' }, make('p', {}, `${what}: no dial on this deck.`));
    const [act, effect] = set.words.split(': ');
    return make('div', { class: 'line' }, make('p', {}, `${what}: `, make('strong', {}, act), effect ? `, ${effect}` : '', set.beyond_dial ? '; this is the end of the dial' : ''),
        ruler(what, dial, set, { brief: true }));
}

function paper(sheet, deck) {
    const title = deck ? `${sheet.name}: where to start` : `${sheet.name} on every deck`;
    find('#title').textContent = title;
    document.title = `${title} – biasbook`;
    if (!sheet.rows.length) return make('p', { class: 'note' }, 'Nothing to put on this sheet yet. Untick “only what was logged” to see what the book would suggest all the same.');
    return [
        make('p', { class: 'small' }, `For a flat result; within the bracket nine results in ten land. ${sheet.recordings ? `Recorded over ${count(sheet.recordings, 'time')}. ` : ''}As of ${day(sheet.made_at)}, change ${sheet.as_of}.`),
        make('ol', { class: 'entries' }, sheet.rows.map((row) => {
            const on = deck ?? deckOf(book, row.deck);
            return make('li', {}, make('h2', {}, deck ? row.stock_name : row.deck_name),
                make('p', { class: 'small' }, [deck ? className(book, row.class).split(',')[0] : null, restsOn(row)].filter(Boolean).join('; ')),
                line('Bias', on?.bias_dial, row.bias), line('Record trim', on?.level_dial, row.level));
        }))];
}

function boxNote(answer, deck, stock) {
    const say = (what, dial, set) => (set.dial === null ? `${what}: no dial on this deck.` : `${what}: ${set.words}. Nine results in ten land between ${placeRange(dial, ...set.range90_dial)}.`);
    find('#title').textContent = 'A note for the cassette box';
    return make('div', { class: 'boxnote' },
        make('p', {}, make('strong', {}, stock.name), `, ${className(book, stock.class)}, on `, make('strong', {}, deck.name), '.'),
        make('p', {}, say('Bias', deck.bias_dial, answer.bias)), make('p', {}, say('Record trim', deck.level_dial, answer.level)), make('p', {}, expectation(answer.expect)),
        make('p', { class: 'fold', 'aria-hidden': 'true' }), make('p', {}, basisSentence(answer.basis)),
        answer.cautions.map((caution) => make('p', {}, caution.text)), make('p', {}, `Written on ${day(new Date().toISOString())}. Check with the two tones before you record.`));
}

function show() {
    const deck = deckOf(book, deckSelect.value), stock = stockOf(book, stockSelect.value);
    const recordings = readNumber(find('#h-recordings').value).value ?? '';
    const query = { sort: find('#h-sort').value, logged: find('#h-logged').checked ? 1 : '', recordings };
    keepAddress({ deck: deck?.id, stock: stock?.id, ...query, logged: find('#h-logged').checked ? '' : '0' });
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
