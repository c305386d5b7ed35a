// SPDX-License-Identifier: GPL-3.0-or-later
// Entering a tape or a deck that the book does not have yet. The short name (its id) is made from the name.
import { find, focusOn, make, replace, show } from './dom.js';
import { ask } from './api.js';
import { loadBook } from './book.js';
import { inputOf, noErrors, readNumbers, readTexts, sayErrors, signKeys } from './fields.js';
import { remember } from './kept.js';
import { startPage } from './page.js';

const stockForm = find('#stock-form');
const deckForm = find('#deck-form');
let book = null;

// "Fern Extended 90" → fern-extended-90; a number after it when that is taken.
export function shortName(name, taken) {
    const plain = name.normalize('NFKD').replace(/[\u0300-\u036f]/g, '').toLowerCase().replace(/[^a-z0-9]+/g, '-').replace(/^-+|-+$/g, '').slice(0, 60).replace(/-+$/, '') || 'entry';
    for (let n = 1; ; n++) {
        const id = n === 1 ? plain : `${plain}-${n}`;
        if (!taken.includes(id)) return id;
    }
}

async function put(form, kind, body, errors) {
    const box = find(`#${kind}-problem`), said = find(`#${kind}-said`);
    noErrors(form, box);
    if (!body.name) errors.push({ field: 'name', detail: 'Give it a name.' });
    if (errors.length) return sayErrors(form, box, errors, 'Not entered yet: see what is marked.');
    const list = kind === 'deck' ? book.decks : book.stocks;
    const id = shortName(body.name, list.map((one) => one.id));
    const button = find('button.main', form);
    button.disabled = true;
    try {
        await ask('PUT', `api/${kind}s/${id}`, { body });
        list.push({ id, ...body });
        remember(kind, id);
        form.reset();
        if (kind === 'deck') dialKinds();
        replace(said, make('p', {}, make('strong', {}, 'Entered: '), `${body.name} is in the book, as ${id}. `, make('a', { href: './' }, 'Ask where to start, or log')));
        show(said, true);
        return focusOn(said);
    } catch (error) {
        return sayErrors(form, box, error.errors?.length ? error.errors : [{ field: '', detail: error.message }], 'The book did not take it; it is all still here.');
    } finally {
        button.disabled = false;
    }
}

stockForm.addEventListener('submit', (event) => {
    event.preventDefault();
    const body = {}, errors = [];
    readTexts(stockForm, ['name', 'class', 'family', 'wrapper', 'made_from', 'made_to', 'notes'], body);
    readNumbers(stockForm, ['side_minutes', 'sheet_bias_db', 'sheet_level_db', 'length_m', 'thickness_um', 'hub_mm'], body, errors);
    if (!body.class) errors.push({ field: 'class', detail: 'Choose its class: which type, or which operating level.' });
    put(stockForm, 'stock', body, errors);
});

// ---- a deck's dials ----

const scales = [['learn', 'not known: the book learns it'], ['db', 'so many dB a mark'], ['percent', 'per cent of the preset'], ['ratio', 'a ratio to its zero']];

function dialFields(set) {
    const dial = set.dataset.dial, more = dial === 'bias_dial' ? ['more bias, duller', 'less bias, brighter'] : ['more gain, louder', 'less gain, quieter'];
    const id = (name) => `d-${dial}-${name}`;
    const choice = (name, label, options) => make('div', { class: 'field' }, make('label', { for: id(name) }, label),
        make('select', { id: id(name), name: `${dial}.${name}` }, options.map(([value, text]) => make('option', { value }, text))));
    const field = (name, label, unit, attributes = {}) => make('div', { class: 'field' }, make('label', { for: id(name) }, label, ' ', make('span', { class: 'unit' }, unit)),
        make('input', { id: id(name), name: `${dial}.${name}`, type: 'text', autocomplete: 'off', inputmode: 'decimal', ...attributes }));
    set.append(make('div', { class: 'check' }, make('input', { id: id('there'), type: 'checkbox', checked: true, change: dialKinds }), make('label', { for: id('there') }, 'There is one outside the case')),
        make('div', { class: 'fields' },
            field('low', 'Its low end', 'reading', { 'data-signed': true }), field('high', 'Its high end', 'reading', { 'data-signed': true }),
            field('zero', 'Centre, detent or preset', 'reading; 0 if empty', { 'data-signed': true }), field('step', 'Finest step one can repeat', 'in its unit'),
            field('unit', 'Its unit', 'mark, step, %, o’clock', { inputmode: 'text', maxlength: 80 }),
            choice('plus', 'A higher reading is', [['more', more[0]], ['less', more[1]]]), choice('scale', 'What a unit is worth', scales), field('db_per_unit', 'dB a unit', 'if known')));
}

function dialKinds() {
    for (const dial of ['bias_dial', 'level_dial']) {
        show(find('.fields', find(`[data-dial=${dial}]`)), find(`#d-${dial}-there`).checked);
        show(inputOf(deckForm, `${dial}.db_per_unit`).closest('.field'), inputOf(deckForm, `${dial}.scale`).value === 'db');
    }
    show(find('#d-turns').closest('.field'), find('#d-counter').value === 'turns');
}

function readDial(dial, errors) {
    if (!find(`#d-${dial}-there`).checked) return null;
    const typed = {}, names = ['low', 'high', 'zero', 'step', 'db_per_unit'].map((name) => `${dial}.${name}`);
    readNumbers(deckForm, names, typed, errors);
    readTexts(deckForm, [`${dial}.unit`, `${dial}.plus`, `${dial}.scale`], typed);
    const read = Object.fromEntries(Object.entries(typed).map(([name, value]) => [name.split('.')[1], value]));
    for (const [end, words] of [['low', 'the reading at its low end'], ['high', 'the reading at its high end']])
        if (read[end] === undefined && !errors.some((error) => error.field === `${dial}.${end}`)) errors.push({ field: `${dial}.${end}`, detail: `Enter ${words}.` });
    if (read.scale === 'db' && read.db_per_unit === undefined) errors.push({ field: `${dial}.db_per_unit`, detail: 'Enter what one unit is worth, or let the book learn it.' });
    return read;
}

deckForm.addEventListener('submit', (event) => {
    event.preventDefault();
    const body = {}, errors = [];
    readTexts(deckForm, ['name', 'model', 'medium', 'notes'], body);
    body.heads = Number(find('#d-heads').value);
    body.bias_dial = readDial('bias_dial', errors);
    body.level_dial = readDial('level_dial', errors);
    if (find('#d-own').checked) body.per_channel = true;
    readNumbers(deckForm, ['low_hz', 'high_hz', 'tone_db', 'reference_nwb_m', 'meter_step_db', 'warm_up_minutes'], body, errors);
    const counter = find('#d-counter').value, turns = {};
    if (counter === 'turns') {
        readNumbers(deckForm, ['counter.turns_per_count'], turns, errors);
        if (!Object.keys(turns).length && !errors.some((error) => error.field.startsWith('counter'))) errors.push({ field: 'counter.turns_per_count', detail: 'Count the reel’s turns over 100 counts and divide by 100.' });
    }
    if (counter) body.counter = { kind: counter, ...(counter === 'turns' && { turns_per_count: turns['counter.turns_per_count'] }) };
    put(deckForm, 'deck', body, errors);
});

for (const set of document.querySelectorAll('.dial')) dialFields(set);
deckForm.addEventListener('change', dialKinds);
dialKinds();
signKeys(document);

async function ready() {
    try {
        book = await loadBook();
    } catch (error) {
        if (error.status !== 401) replace(find('#notices'), make('p', { class: 'problem' }, `The book’s lists cannot be read: ${error.message}.`));
        return;
    }
    replace(find('#t-class'), make('option', { value: '' }, 'choose'), book.classes.map((entry) => make('option', { value: entry.id }, `${entry.name} (${entry.medium})`)));
}
startPage(ready);
