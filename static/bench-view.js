// SPDX-License-Identifier: GPL-3.0-or-later
// What the bench shows: the checklist, the setting to make, the fields for the readings, the moves so far. Elements in, elements out; no state.
import { make } from './dom.js';
import { aboutSource, dialHint } from './fields.js';
import { number, place, reading } from './numbers.js';
import { ruler } from './ruler.js';
import { expectation, sentence } from './setting.js';

// ---- the checklist: of the deck once an evening, of each tape each time ----
export function checks(deck, stock, classEntry) {
    const minutes = deck.warm_up_minutes ?? 20;
    const tones = `${number(deck.low_hz ?? 315, 0)} Hz and ${number((deck.high_hz ?? 10000) / 1000, 1).replace(/\.0$/, '')} kHz`;
    const equalisation = classEntry?.equalisation?.replace(/us$/, ' µs');
    return {
        deck: [
            ['warm', `Deck warm for ${minutes} minutes`],
            ['clean', 'Heads, guides and pinch roller clean; solvent dried'],
            ['demagnetised', 'Demagnetised if due: deck off, recorded tape well away, the demagnetiser switched on and off at arm’s length'],
            ['nr', 'Noise reduction off'],
            ['mpx', 'MPX filter off'],
            ['source', `Source reads the mark (${number(deck.tone_db ?? -20, 0)} dB) at ${tones}, on both channels; monitors turned down`],
        ],
        tape: [
            ['type', `Tape type and equalisation right${classEntry ? `: ${classEntry.name}${equalisation ? `, ${equalisation}` : ''}` : ''}`],
            ['wound', 'Wound end to end once, if it lay for long; no mould on it'],
            ['azimuth', deck.medium === 'reel' ? 'Azimuth right, before bias' : 'Azimuth right for this shell, before bias'],
            ['listening', deck.heads === 2 ? 'Wound past the first half minute' : 'Now listening to tape, wound past the first half minute'],
        ],
    };
}

export function checkItems(group, items, ticked, changed) {
    return items.map(([name, text]) => {
        const id = `c-${group}-${name}`;
        return make('li', {}, make('div', { class: 'check' },
            make('input', { id, type: 'checkbox', checked: ticked.includes(name), change: (event) => changed(name, event.target.checked) }), make('label', { for: id }, text)));
    });
}

// ---- the setting to make ----
const upper = (text) => text[0].toUpperCase() + text.slice(1);

// What to know before turning.
export function remarks(answer) {
    return [
        answer.reason ? make('p', { class: answer.look_first ? 'problem' : null }, answer.look_first ? make('strong', {}, 'Look first. ') : null, upper(answer.reason)) : null,
        answer.note ? make('p', { class: 'note' }, upper(answer.note)) : null,
    ];
}

export function moveView(answer, deck) {
    const one = (what, dial, setting) => (dial && setting && setting.dial !== null && setting.dial !== undefined
        ? make('div', { class: 'setting' }, make('h3', {}, what), sentence(setting.turn ?? setting.words),
            setting.turn ? make('p', { class: 'small' }, `Then it stands ${setting.words.split(':')[0]}.`) : null, ruler(what, dial, setting),
            setting.beyond_dial ? make('p', { class: 'note' }, 'The dial runs out before it is reached: this is its end.') : null) : null);
    return [
        remarks(answer),
        one('Bias', deck.bias_dial, answer.bias), one('Record trim', deck.level_dial, answer.level),
        /expect/i.test(answer.reason ?? '') ? null : make('p', { class: 'expect' }, expectation(answer.expect)),
    ];
}

// ---- fields for the readings ----
function inputField(id, label, unit, value, { signed, say } = {}) {
    return make('div', { class: 'field' }, make('label', { for: id }, label, unit ? [' ', make('span', { class: 'unit' }, unit)] : null),
        make('input', { id, name: id, type: 'text', inputmode: 'decimal', autocomplete: 'off', value: value ?? null, 'data-signed': signed, 'data-say': say }));
}

const text = (dial, value) => (value === undefined || value === null ? '' : reading(dial, value, true));

// One setting read at once: where the dials stand (filled in, to be changed when set otherwise) and the two readings.
export function readFields(deck, target, tones, readings = {}) {
    return [
        deck.bias_dial ? inputField('r-bias', 'Bias dial stands at', dialHint(deck.bias_dial), text(deck.bias_dial, target?.bias), { signed: deck.bias_dial.low < 0 }) : null,
        deck.level_dial ? inputField('r-level', 'Record trim stands at', dialHint(deck.level_dial), text(deck.level_dial, target?.level), { signed: deck.level_dial.low < 0 }) : null,
        inputField('r-low', `Low tone, ${tones.low}: tape minus source`, 'dB', readings.low_db, { signed: true, say: 'low' }),
        inputField('r-high', `High tone, ${tones.high}: tape minus source`, 'dB', readings.high_db, { signed: true, say: 'high' }),
        make('div', { class: 'wide actions' }, make('button', { type: 'submit', class: 'main' }, 'Next move')),
    ];
}

// A ladder for two heads: settings recorded one after the other, read in one rewind.
export function ladderFields(deck, ladder) {
    const cell = (at, what, label) => make('td', {}, make('input', { id: `r-${at}-${what}`, name: `r-${at}-${what}`, type: 'text', inputmode: 'decimal', autocomplete: 'off', 'aria-label': label, 'data-signed': true }));
    const setting = (rung) => [deck.bias_dial ? `bias ${place(deck.bias_dial, rung.bias)}` : null, deck.level_dial ? `record trim ${place(deck.level_dial, rung.level)}` : null].filter(Boolean).join(', ');
    return [
        make('p', { class: 'wide' }, 'Record both tones for ten seconds at each setting, one after the other; say or note the counter between them. Rewind once, play, and write down each.'),
        make('div', { class: 'wide scroll' }, make('table', {},
            make('thead', {}, make('tr', {}, make('th', { scope: 'col' }, 'Setting'), make('th', { scope: 'col' }, 'Low tone, dB'), make('th', { scope: 'col' }, 'High tone, dB'))),
            make('tbody', {}, ladder.map((rung, at) => make('tr', {}, make('th', { scope: 'row' }, `${at + 1}. ${setting(rung)}`),
                cell(at, 'low', `Setting ${at + 1}, low tone, tape minus source, dB`), cell(at, 'high', `Setting ${at + 1}, high tone, tape minus source, dB`)))))),
        make('div', { class: 'wide actions' }, make('button', { type: 'submit', class: 'main' }, 'Next move'), ' ', make('button', { type: 'button', id: 'one-by-one' }, 'One setting at a time')),
    ];
}

// ---- what was read so far ----
export function movesTable(deck, moves) {
    if (!moves.length) return null;
    const column = (shown, name) => (shown ? make('th', { scope: 'col' }, name) : null);
    const short = (db) => (db === undefined ? 'not read' : aboutSource(db).replace(/^tape /, '').replace(/ the source$| with the source$/, ''));
    return make('table', {}, make('caption', { class: 'small' }, 'Read so far, tape against source'),
        make('thead', {}, make('tr', {}, make('th', { scope: 'col' }, 'Reading'), column(deck.bias_dial, 'Bias'), column(deck.level_dial, 'Record trim'), column(true, 'Low tone'), column(true, 'High tone'))),
        make('tbody', {}, moves.map((move, at) => make('tr', {}, make('th', { scope: 'row' }, at ? `${at + 1}` : 'first'),
            deck.bias_dial ? make('td', {}, place(deck.bias_dial, move.bias)) : null, deck.level_dial ? make('td', {}, place(deck.level_dial, move.level)) : null,
            make('td', {}, short(move.low_db)), make('td', {}, short(move.high_db))))));
}

export function verdictView(answer, deck, left) {
    const at = [deck.bias_dial ? `bias ${place(deck.bias_dial, left.bias)}` : null, deck.level_dial ? `record trim ${place(deck.level_dial, left.level)}` : null].filter(Boolean).join(', ');
    return [
        make('p', { class: 'words' }, make('strong', {}, at || 'nothing to set on this deck')),
        left.low_db !== undefined ? make('p', {}, `As left: low tone ${aboutSource(left.low_db)}, high tone ${aboutSource(left.high_db)}.`) : make('p', {}, 'As left it was not read; the readings before it go into the book.'),
        answer?.reason ? make('p', {}, upper(answer.reason)) : null,
        answer?.note ? make('p', { class: 'note' }, upper(answer.note)) : null,
    ];
}
