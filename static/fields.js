// SPDX-License-Identifier: GPL-3.0-or-later
// What forms share: choosing deck and tape, reading numbers, saying what is wrong at the field, the sign key that phone keypads lack.
import { all, find, make, replace } from './dom.js';
import { className, deckOf } from './book.js';
import { decimals, number, readNumber, readSeconds } from './numbers.js';

// ---- what is wrong, at the field ----

// Field names of the API to names of inputs: moves[0].low_db and moves.0.low_db are the same.
const plain = (field) => (field ?? '').replace(/\[(\d+)\]/g, '.$1').replace(/^\//, '').replace(/\//g, '.');

export function inputOf(form, field) {
    const name = plain(field);
    const named = (wanted) => all('input, select, textarea', form).find((input) => input.name === wanted && input.type !== 'hidden');
    return named(name) ?? (name.includes('.') ? named(name.split('.').slice(0, 2).join('.')) : undefined) ?? null;
}

export function sayWrong(input, text) {
    const id = `${input.id}-wrong`;
    let note = document.getElementById(id);
    if (!note) {
        note = make('p', { class: 'wrong', id });
        input.closest('.field, .check, td')?.append(note);
        const described = input.getAttribute('aria-describedby');
        input.setAttribute('aria-describedby', described ? `${described} ${id}` : id);
    }
    note.textContent = note.textContent ? `${note.textContent} ${text}` : text;
    input.setAttribute('aria-invalid', 'true');
    input.closest('details')?.setAttribute('open', '');
}

export function clearWrong(form) {
    for (const note of all('.wrong', form)) {
        for (const input of all(`[aria-describedby~="${note.id}"]`, form)) {
            const rest = input.getAttribute('aria-describedby').split(' ').filter((id) => id !== note.id).join(' ');
            if (rest) input.setAttribute('aria-describedby', rest);
            else input.removeAttribute('aria-describedby');
            input.removeAttribute('aria-invalid');
        }
        note.remove();
    }
}

// Says each fault at its field and, in `box`, what belongs to none. Moves the focus to the first. errors: [{ field, detail }]
export function sayErrors(form, box, errors, headline) {
    clearWrong(form);
    const homeless = [];
    let first = null;
    for (const error of errors) {
        const input = inputOf(form, error.field);
        if (!input || input.closest('[hidden]')) {
            homeless.push(error.field ? `${error.field}: ${error.detail}` : error.detail);
            continue;
        }
        sayWrong(input, error.detail);
        first ??= input;
    }
    replace(box, make('p', {}, headline), homeless.length ? make('ul', {}, homeless.map((text) => make('li', {}, text))) : null);
    box.hidden = false;
    box.setAttribute('tabindex', '-1');
    (first ?? box).focus();
}

export function noErrors(form, box) {
    clearWrong(form);
    box.hidden = true;
    replace(box);
}

// ---- reading ----

// Reads the named number fields of a form into `into`; what is wrong is pushed to `errors`. Empty fields are left out.
export function readNumbers(form, names, into, errors) {
    for (const name of names) {
        const input = inputOf(form, name);
        if (!input || input.closest('[hidden]')) continue;
        const result = (name === 'position_s' ? readSeconds : readNumber)(input.value);
        if (result.wrong) errors.push({ field: name, detail: result.wrong });
        else if (result.value !== null) into[name] = result.value;
    }
}

export function readTexts(form, names, into) {
    for (const name of names) {
        const value = inputOf(form, name)?.value.trim();
        if (value) into[name] = value;
    }
}

// A dial's reading: inside the dial, and there when the deck has the dial.
export function checkDial(dial, what, field, into, errors) {
    if (!dial || errors.some((error) => error.field === field)) return;
    if (into[field] === undefined) errors.push({ field, detail: `Enter the ${what} dial’s reading.` });
    else if (into[field] < dial.low || into[field] > dial.high)
        errors.push({ field, detail: `The ${what} dial goes from ${span(dial)}.` });
}

// ---- dials ----

export const unitOf = (dial) => dial.unit || 'mark';
export function span(dial) {
    const places = Math.max(decimals(dial.low), decimals(dial.high));
    return `${number(dial.low, places)} to ${number(dial.high, places)}`;
}
export function dialHint(dial) {
    const unit = unitOf(dial);
    return `${/[a-z]$/.test(unit) && !unit.endsWith('s') && unit.length > 3 ? `${unit}s` : unit}, ${span(dial)}`;
}

// Shows a dial's field when the deck has the dial, with its unit and ends.
export function setDialField(field, dial) {
    field.hidden = !dial;
    const input = find('input', field);
    input.toggleAttribute('data-signed', !!dial && dial.low < 0);
    find('.unit', field).textContent = dial ? dialHint(dial) : '';
    signKeys(field);
}

// ---- the sign key ----

// Phone keypads for numbers often have no minus: a key beside the field changes the sign.
export function signKeys(root) {
    for (const input of all('input[inputmode]', root)) {
        const next = input.nextElementSibling;
        const present = next?.classList.contains('sign');
        if (input.hasAttribute('data-signed') === !!present) continue;
        if (present) {
            next.remove();
            continue;
        }
        const name = document.querySelector(`label[for="${input.id}"]`)?.firstChild?.textContent.trim() ?? input.getAttribute('aria-label');
        input.after(make('button', { type: 'button', class: 'sign', 'aria-label': `Change the sign: ${name}`, click: () => {
            input.value = /^\s*[-\u2212]/.test(input.value) ? input.value.replace(/^\s*[-\u2212]/, '') : `\u2212${input.value.replace(/^\s*\+/, '')}`;
            input.dispatchEvent(new Event('input', { bubbles: true }));
            input.focus();
        } }, '\u00b1'));
    }
}

// Tape minus source in words, under the field, while it is typed.
export function aboutSource(db) {
    if (Math.abs(db) < 0.005) return 'tape level with the source';
    return `tape ${number(Math.abs(db), Math.max(1, Math.min(2, decimals(db))))} dB ${db < 0 ? 'below' : 'above'} the source`;
}

export function sayReadings(root) {
    for (const input of all('input[data-say]', root)) {
        if (input.dataset.said) continue;
        input.dataset.said = 'yes';
        const words = make('p', { class: 'said', id: `${input.id}-said`, 'aria-live': 'polite' });
        (input.closest('.field') ?? input.parentNode).append(words);
        const say = () => {
            const { value } = readNumber(input.value);
            words.textContent = value === null || value === undefined ? '' : aboutSource(value);
        };
        input.addEventListener('input', say);
        input.form?.addEventListener('reset', () => setTimeout(say));
        say();
    }
}

// ---- deck and tape ----

// The page comes with a plain text field, which works with scripts off; here it becomes a list.
export function becomeSelect(input) {
    if (input.tagName === 'SELECT') return input;
    const select = make('select', { id: input.id, name: input.name, required: input.required });
    input.replaceWith(select);
    return select;
}

export function fillDecks(select, book, chosen) {
    replace(select, make('option', { value: '' }, 'choose a deck'), book.decks.map((deck) => make('option', { value: deck.id }, deck.name)));
    select.value = deckOf(book, chosen) ? chosen : '';
}

const mediumOf = (stock) => stock.medium ?? (stock.class.startsWith('reel') ? 'reel' : 'cassette');
const FIND_FROM = 15; // with more tapes than this a search field stands above the list

// Tapes that fit the deck, by class; the ones used lately first. With `classes`, also "a tape not in the book" by class.
export function fillStocks(select, book, { medium, chosen, recent = [], classes = false, like = '' }) {
    const words = like.toLowerCase().split(/\s+/).filter(Boolean);
    const fits = (stock) => {
        const text = [stock.name, stock.id, stock.family, stock.wrapper, ...(stock.aliases ?? [])].join(' ').toLowerCase();
        return (!medium || mediumOf(stock) === medium) && words.every((word) => text.includes(word));
    };
    const fitting = book.stocks.filter(fits);
    const option = (stock) => make('option', { value: stock.id }, stock.name);
    const groups = book.classes.map((entry) => [entry.name, fitting.filter((stock) => stock.class === entry.id)]).filter(([, list]) => list.length);
    const lately = recent.map((id) => fitting.find((stock) => stock.id === id)).filter(Boolean);
    replace(select,
        make('option', { value: '' }, words.length ? `${fitting.length} found: choose` : 'choose a tape'),
        lately.length && !words.length ? make('optgroup', { label: 'used lately' }, lately.map(option)) : null,
        groups.map(([name, list]) => make('optgroup', { label: name }, list.map(option))),
        classes && !words.length ? make('optgroup', { label: 'not in the book: by its class' },
            book.classes.filter((entry) => !medium || entry.medium === medium)
                .map((entry) => make('option', { value: `class:${entry.id}` }, `some ${entry.name} tape`))) : null);
    select.value = chosen ?? '';
    if (select.selectedIndex < 0) select.value = '';
    if (words.length && fitting.length === 1) select.value = fitting[0].id;
    return fitting.length;
}

// A search field above the list of tapes, when the list is long. refill(text) fills the list anew.
export function searchField(select, book, refill) {
    if (book.stocks.length <= FIND_FROM || document.getElementById(`${select.id}-find`)) return;
    const input = make('input', { id: `${select.id}-find`, type: 'search', autocomplete: 'off', placeholder: 'find by name or wrapper', 'aria-label': 'Find a tape by name or wrapper',
        input: () => refill(input.value), keydown: (event) => {
            if (event.key !== 'Enter') return;
            event.preventDefault();
            select.focus();
        } });
    select.before(input);
}

export function describeTape(book, stock) {
    return [className(book, stock.class), stock.wrapper].filter(Boolean).join('; ');
}

export function fillSetups(select, deck, chosen) {
    const setups = deck?.setups ?? [];
    replace(select, setups.map((setup) => make('option', { value: setup.id }, setupName(setup))));
    if (setups.some((setup) => setup.id === chosen)) select.value = chosen;
    return setups.length > 1;
}

function setupName(setup) {
    const speed = setup.speed_mm_s ? `${number(setup.speed_mm_s / 10, 2).replace(/0$/, '')} cm/s` : '';
    const equalisation = setup.equalisation?.replace(/us$/, ' µs');
    return [setup.id, speed, equalisation, setup.selector, setup.direction === 'reverse' && !setup.id.includes('reverse') ? 'reverse' : ''].filter(Boolean).join(', ');
}

// Channels: a deck with own trims left and right is logged a channel at a time.
export function fillChannels(select, deck, { all: withBoth = false } = {}) {
    const before = select.value;
    const options = [['left', 'left'], ['right', 'right']];
    if (!deck?.per_channel || withBoth) options.unshift(['', deck?.per_channel ? 'either' : 'both']);
    replace(select, options.map(([value, text]) => make('option', { value }, text)));
    if (options.some(([value]) => value === before)) select.value = before;
}

// ---- place on the reel ----

const places = [['position_s', 'seconds, or m:ss'], ['position_counter', 'counter'], ['position_turns', 'take-up turns'], ['position_part', 'part, 0 to 1']];

// A list of units after the place field; the field takes the chosen member's name.
export function placeUnits(input) {
    let select = document.getElementById(`${input.id}-unit`);
    if (!select) {
        find(`label[for="${input.id}"] .unit`)?.remove();
        select = make('select', { id: `${input.id}-unit`, 'aria-label': 'Place is given in', change: () => { input.name = select.value; } },
            places.map(([value, text]) => make('option', { value }, text)));
        input.after(select);
    }
    return (deck) => {
        const counter = find('option[value="position_counter"]', select);
        counter.disabled = counter.hidden = !deck?.counter;
        if (!deck?.counter && select.value === 'position_counter') select.value = 'position_s';
        input.name = select.value;
    };
}

export function setPlace(input, body) {
    const name = places.map(([member]) => member).find((member) => body[member] !== undefined) ?? input.name;
    const select = document.getElementById(`${input.id}-unit`);
    if (select) select.value = name;
    input.name = name;
    input.value = body[name] ?? '';
}

export const PLACES = places.map(([member]) => member);

// ---- what is remembered of tapes ----
export function usedLately(list, id) {
    return [id, ...list.filter((other) => other !== id)].slice(0, 6);
}
