// SPDX-License-Identifier: GPL-3.0-or-later
// Probable misentries: each with what was found, what was to be expected, the slip that would explain it, and what can be done: right after all, correct, void, undo.
import { find, make, replace, show } from './dom.js';
import { ask, get } from './api.js';
import { deckOf, loadBook, stockOf } from './book.js';
import { amount } from './know.js';
import { number, place as inWords, readNumber } from './numbers.js';
import { startPage } from './page.js';

let book, session;
const words = { bias: 'Bias', level: 'Record trim' };
const fields = { bias: 'Bias dial', level: 'Record trim dial', low_db: 'Low tone, dB', high_db: 'High tone, dB' };

function tellProblem(error) {
    const place = find('#problem');
    if (error) replace(place, make('p', {}, error.message));
    show(place, Boolean(error));
}

// One change, then the item says what happened and offers to take it back.
async function act(item, done, work) {
    tellProblem(null);
    try {
        await work();
        replace(item, make('p', {}, `${item.dataset.name}: ${done} `, done === 'right after all' ? null : make('button', { type: 'button', class: 'plain', click: () =>
            act(item, 'as it was before', () => ask('POST', `api/calibrations/${item.dataset.id}/undo`)) }, 'Undo')));
    } catch (error) {
        tellProblem(error);
    }
}

function away(name, one) {
    return one ? `${words[name]}: found ${amount(name, one.found_db)}, expected ${amount(name, one.expected_db)} (${number(Math.abs(one.scatters), 1)} times what results scatter)` : null;
}

async function correctForm(item, id, place) {
    const { value: record, etag } = await ask('GET', `api/calibrations/${id}`);
    const inputs = Object.entries(fields).filter(([name]) => typeof record[name] === 'number').map(([name, label]) => {
        const input = make('input', { id: `c-${name}-${id}`, name, type: 'text', inputmode: 'text', value: String(record[name]), autocomplete: 'off' });
        return { name, input, field: make('div', { class: 'field' }, make('label', { for: input.id }, label), input) };
    });
    replace(place, make('form', { submit: (event) => {
        event.preventDefault();
        const body = { ...record };
        for (const { name, input } of inputs) {
            const { value, wrong } = readNumber(input.value);
            if (wrong) return tellProblem(new Error(`${fields[name]}: ${wrong}`));
            body[name] = value;
        }
        return act(item, 'corrected.', () => ask('PUT', `api/calibrations/${id}`, { body, headers: { 'if-match': etag } }));
    } }, inputs.map(({ field }) => field), make('div', { class: 'wide actions' }, make('button', { type: 'submit' }, 'Correct it'))));
}

function voidForm(item, id) {
    const reason = make('input', { id: `v-${id}`, type: 'text', maxlength: '400', autocomplete: 'off', value: 'misentry' });
    return make('form', { submit: (event) => {
        event.preventDefault();
        act(item, 'taken out.', () => ask('POST', `api/calibrations/${id}/void`, { body: { reason: reason.value } }));
    } }, make('div', { class: 'field' }, make('label', { for: reason.id }, 'Why it should not count'), reason), make('div', { class: 'actions' }, make('button', { type: 'submit' }, 'Void it')));
}

function said(state, name) {
    const dial = deckOf(book, state.deck)?.[`${name}_dial`];
    return `${fields[name]} ${dial ? inWords(dial, state[name]) : number(state[name], 2)}`;
}

async function history(id, place) {
    const { revisions } = await get(`api/calibrations/${id}/revisions`);
    replace(place, make('ul', {}, revisions.map((one) => make('li', {}, `${one.at.slice(0, 10)}, ${one.by ?? 'somebody'}: ${one.void ? `void (${one.state.void?.reason ?? ''})` : ['bias', 'level', 'low_db', 'high_db'].filter((name) => typeof one.state[name] === 'number').map((name) => said(one.state, name)).join(', ')}`))));
}

const unfold = (text, fill) => {
    const place = make('div', {});
    return make('details', { toggle: (event) => event.target.open && !place.childElementCount && Promise.resolve(fill(place)).catch(tellProblem) }, make('summary', {}, text), place);
};

function suspect(one) {
    const name = `${stockOf(book, one.stock)?.name ?? one.stock} on ${deckOf(book, one.deck)?.name ?? one.deck}, ${one.made_at.slice(0, 10)}`;
    const item = make('li', { 'data-id': one.id, 'data-name': name });
    const may = session.open || session.role === 'steward' || (session.member && session.member === one.member);
    item.append(make('h2', {}, name), make('p', { class: 'small' }, `logged by ${one.member || 'somebody'}`),
        make('p', {}, [away('bias', one.bias), away('level', one.level)].filter(Boolean).map((text, i) => [i ? make('br') : null, text])),
        one.slip ? make('p', {}, make('strong', {}, `${one.slip[0].toUpperCase()}${one.slip.slice(1)}.`)) : '');
    if (session.role === 'steward') item.append(make('p', {}, make('button', { type: 'button', click: () => act(item, 'right after all', () => ask('POST', `api/review/${one.id}`, { body: { verdict: 'accept' } })) }, 'It is right')));
    if (may) item.append(unfold('Correct it', (place) => correctForm(item, one.id, place)), unfold('Void it', (place) => place.append(voidForm(item, one.id))));
    item.append(unfold('What was before', (place) => history(one.id, place)));
    return item;
}

async function ready() {
    try {
        [session, book] = await Promise.all([get('api/session'), loadBook()]);
        const { calibrations, looked_at, found } = await get('api/review');
        replace(find('#list'), calibrations.length
            ? [make('p', { class: 'small' }, `${found} of ${looked_at} results${found > calibrations.length ? `, the ${calibrations.length} furthest out` : ''}.`), make('ul', { class: 'list' }, calibrations.map(suspect))]
            : make('p', {}, `None of ${looked_at} results lies far out.`));
    } catch (error) {
        if (error.status !== 401) tellProblem(error);
    }
}
startPage(ready);
