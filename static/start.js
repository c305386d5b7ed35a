// SPDX-License-Identifier: GPL-3.0-or-later
// The first page: where to start, and under (or beside) it the form for what was found. Deck and tape are remembered and shared by both.
import { find, make, replace } from './dom.js';
import { remember, remembered } from './kept.js';
import { get } from './api.js';
import { deckOf, loadBook, suggestion, tapeQuery } from './book.js';
import { becomeSelect, clearWrong, describeTape, fillChannels, fillDecks, fillSetups, fillStocks, inputOf, placeUnits, PLACES, readNumbers, readTexts, sayWrong, searchField, signKeys, usedLately } from './fields.js';
import { age } from './numbers.js';
import { nameEntries, startPage } from './page.js';
import { groundsView, lastResultView, settingsView } from './setting.js';
import { startLog } from './log.js';

const form = find('#start-form');
const answer = find('#answer');
const deckSelect = becomeSelect(find('#s-deck'));
const stockSelect = becomeSelect(find('#s-stock'));
becomeSelect(find('#s-setup'));
let book = null;
let log = null;
let asked = 0;
let setPlaces = null;

const deck = () => deckOf(book, deckSelect.value);

function fillTapes(like = '') {
    const chosen = stockSelect.value || remembered('stock');
    fillStocks(stockSelect, book, { medium: deck()?.medium, chosen, recent: remembered('recent', []), classes: true, like });
}

function deckChanged() {
    const now = deck();
    fillTapes();
    find('#s-setup').closest('.field').hidden = !fillSetups(find('#s-setup'), now, find('#s-setup').value);
    find('#s-channel').closest('.field').hidden = !now?.per_channel;
    fillChannels(find('#s-channel'), now, { all: true });
    setPlaces(now);
}

// The question as the API takes it, or null with the faults said at the fields.
function question() {
    clearWrong(form);
    const errors = [];
    const query = {};
    if (!deckSelect.value) errors.push({ field: 'deck', detail: 'Choose the deck.' });
    if (!stockSelect.value) errors.push({ field: 'stock', detail: 'Choose the tape, or its class at the end of the list.' });
    readNumbers(form, ['recordings', ...PLACES, 'treble_db'], query, errors);
    readTexts(form, ['setup', 'channel', 'batch', 'tape'], query);
    for (const error of errors) sayWrong(inputOf(form, error.field), error.detail);
    if (errors.length) {
        inputOf(form, errors[0].field).focus();
        return null;
    }
    return { deck: deckSelect.value, ...tapeQuery(stockSelect.value), ...query };
}

// Comes after the answer and never holds it up.
async function tellOfLast(turn, pair) {
    const last = await get('api/last-result', pair).catch(() => null);
    if (turn === asked) replace(find('.last', answer), lastResultView(last));
}

async function answerIt() {
    const query = question();
    if (!query) return;
    const turn = ++asked;
    answer.setAttribute('aria-busy', 'true');
    try {
        const { answer: found, kept_at: keptAt } = await suggestion(query);
        if (turn !== asked) return;
        const stock = book.stocks.find((one) => one.id === found.stock);
        replace(answer, make('h2', { class: 'for' }, stock?.name ?? `Some ${stockSelect.selectedOptions[0].textContent.replace(/^some /, '')}`, ' on ', deck().name),
            stock ? make('p', { class: 'small' }, describeTape(book, stock)) : null,
            settingsView(found, deck(), keptAt), groundsView(found),
            make('p', { class: 'next actions' }, make('a', { href: 'bench.html' }, 'Set it at the bench, step by step'),
                stock ? make('a', { href: `stock.html?stock=${stock.id}` }, 'Know this tape') : null, make('a', { href: `deck.html?deck=${deck().id}` }, 'Know this deck')));
        if (stock && found.basis.pair && !keptAt) tellOfLast(turn, { deck: deck().id, stock: stock.id });
    } catch (error) {
        if (turn !== asked) return;
        const homed = (error.errors ?? []).filter((one) => inputOf(form, one.field) && !inputOf(form, one.field).closest('[hidden]'));
        for (const one of homed) sayWrong(inputOf(form, one.field), one.detail);
        replace(answer, make('p', { class: 'problem' }, homed.length ? 'The question was not accepted; see the field marked.' : `No answer: ${error.message}.`.replace('..', '.')));
        homed.length && inputOf(form, homed[0].field).focus();
    } finally {
        if (turn === asked) answer.removeAttribute('aria-busy');
    }
}

function choose() {
    remember('deck', deckSelect.value);
    if (stockSelect.value) {
        remember('stock', stockSelect.value);
        if (!stockSelect.value.startsWith('class:')) remember('recent', usedLately(remembered('recent', []), stockSelect.value));
    }
    log?.choose(deckSelect.value, stockSelect.value);
    if (deckSelect.value && stockSelect.value) answerIt();
}

async function ready() {
    try {
        book = await loadBook();
    } catch (error) {
        if (error.status !== 401) replace(answer, make('p', { class: 'problem' }, `The book’s lists cannot be read: ${error.message}.`));
        return;
    }
    nameEntries(book);
    if (book.kept_at) replace(answer, make('p', { class: 'note' }, `No signal: the lists are those of ${age(book.kept_at)}.`));
    setPlaces ??= placeUnits(find('#s-position'));
    fillDecks(deckSelect, book, remembered('deck') ?? (book.decks.length === 1 ? book.decks[0].id : null));
    deckChanged();
    searchField(stockSelect, book, (like) => { fillTapes(like); if (stockSelect.value) choose(); });
    if (!book.decks.length || !book.stocks.length)
        replace(answer, make('p', { class: 'note' }, 'The book has no decks or no tapes yet. ', make('a', { href: 'enter.html' }, 'Enter the first'), ', or import them from another club.'));
    log = await startLog(book, { logged: () => deckSelect.value && stockSelect.value && answerIt() });
    if (deckSelect.value && stockSelect.value) choose();
}

form.addEventListener('submit', (event) => { event.preventDefault(); answerIt(); });
deckSelect.addEventListener('change', () => { deckChanged(); choose(); });
stockSelect.addEventListener('change', choose);
form.addEventListener('change', (event) => {
    const quiet = event.target === deckSelect || event.target === stockSelect || event.target.type === 'search';
    if (!quiet && deckSelect.value && stockSelect.value && (event.target.value !== '' || answer.childElementCount)) answerIt();
});
find('#s-treble').value = remembered('taste') ? String(remembered('taste')) : '';
signKeys(form);
startPage(ready);
