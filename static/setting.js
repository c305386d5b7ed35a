// SPDX-License-Identifier: GPL-3.0-or-later
// A suggestion as a person reads it: the setting as a sentence and on the ruler, its range, what it rests on, why this number, cautions.
import { draw, make } from './dom.js';
import { age, count, number, placeRange } from './numbers.js';
import { ruler } from './ruler.js';

// "clockwise 1.5 marks from centre: more bias, duller" → what to do, large; what it does, small.
export function sentence(words) {
    const [act, ...effect] = (words ?? '').split(': ');
    return make('p', { class: 'words' }, make('strong', {}, act), effect.length ? [' ', make('span', {}, effect.join(': '))] : null);
}

function quantity(what, dial, setting) {
    if (!setting || !dial || setting.dial === null || setting.dial === undefined)
        return make('div', { class: 'setting' }, make('h3', {}, what), sentence(setting?.words ?? `no ${what.toLowerCase()} dial on this deck: its own stays`));
    const [low, high] = setting.range90_dial ?? [];
    dial = { ...dial, ...setting.ruler }; // the daemon knows the step where the deck does not say it
    return make('div', { class: 'setting' }, make('h3', {}, what), sentence(setting.words), ruler(what, dial, setting),
        low === undefined ? null : make('p', { class: 'range' }, low === high ? `Nine results in ten land at this end of the dial or beyond it.`
            : `Nine results in ten land between ${placeRange(dial, low, high)}.`),
        setting.beyond_dial ? make('p', { class: 'note' }, 'The dial runs out before it is reached: this is its end.') : null);
}

function away(db, tone) {
    if (Math.abs(db) < 0.05) return `the ${tone} tone level with the source`;
    return `the ${tone} tone ${number(Math.abs(db))} dB ${db < 0 ? 'below' : 'above'} the source`;
}

export function expectation(expect) {
    if (!expect) return null;
    if (Math.abs(expect.low_db) < 0.05 && Math.abs(expect.high_db) < 0.05) return 'Both tones should then read level with the source.';
    return `Expect ${away(expect.low_db, 'low')} and ${away(expect.high_db, 'high')}.`;
}

export function basisSentence(basis) {
    const results = (n) => count(n, 'result');
    const club = basis.club ? ` The club has ${results(basis.club)}${basis.members ? ` by ${count(basis.members, 'member')}` : ''}.` : '';
    switch (basis.kind) {
    case 'this pair': return `Rests on ${results(basis.pair)} of this tape on this deck, ${basis.deck} on this deck and ${basis.stock} of this tape in all.${club}`;
    case 'never together': return `This tape was never logged on this deck: worked out from ${results(basis.deck)} on the deck and ${basis.stock} of the tape.${club}`;
    case 'new deck': return `Nothing was logged on this deck yet: worked out from ${results(basis.stock)} of the tape on other decks. Expect to turn further.${club}`;
    case 'new stock': return `Nobody has logged this tape yet: worked out from ${results(basis.deck)} on the deck and from the tape’s class.${club}`;
    case 'class only': return `Rests on the tape’s class${basis.deck ? ` and ${results(basis.deck)} on this deck` : ' alone'}.${club}`;
    default: return 'Nobody has logged anything yet: this is where the trade usually starts. Log what you find.';
    }
}

// ---- why this number: what each part adds, one row after the other ----

const partNames = {
    class: 'the class of tape', recordings: 'times recorded over', place: 'place on the reel', sheet: 'the maker’s published figure', family: 'the coating’s family',
    stock: 'this tape', batch: 'its batch', tape: 'this cassette', 'deck model': 'the deck’s model', deck: 'this deck', channel: 'the channel', setup: 'setup and method',
    era: 'since the last service', 'change over time': 'change over time', 'deck and class': 'this deck with this class', pair: 'this tape on this deck', treble: 'lift at the high tone',
};

// A figure keeps together with its unit at the end of a line.
const amount = (db, more, less) => (Math.abs(db) < 0.005 ? 'nothing' : `${number(Math.abs(db), 2)}\u00a0dB ${db > 0 ? more : less}`);

// A bar from where the sum stood to where it stands now.
function bar(from, to, low, high) {
    const at = (value) => 2 + 96 * (value - low) / (high - low || 1);
    return draw('svg', { class: 'bar', width: '100%', height: '18', 'aria-hidden': 'true', focusable: 'false' },
        draw('line', { x1: `${at(0)}%`, x2: `${at(0)}%`, y1: 0, y2: 18, class: 'tick' }),
        draw('rect', { x: `${Math.min(at(from), at(to))}%`, y: 4, width: `${Math.max(0.8, Math.abs(at(to) - at(from)))}%`, height: 10, class: to >= from ? 'more' : 'less' }));
}

function waterfall(caption, parts, member, more, less) {
    const sums = [0];
    for (const part of parts) sums.push(sums.at(-1) + (part[member] ?? 0));
    const low = Math.min(...sums), high = Math.max(...sums);
    return make('table', { class: 'parts' }, make('caption', {}, caption),
        make('thead', {}, make('tr', {}, make('th', { scope: 'col' }, 'part'), make('th', { scope: 'col' }, 'adds'), make('th', { scope: 'col', class: 'bars' }, 'sum so far'))),
        make('tbody', {}, parts.map((part, i) => make('tr', {}, make('th', { scope: 'row' }, partNames[part.name] ?? part.name),
            make('td', {}, amount(part[member] ?? 0, more, less)), make('td', { class: 'bars' }, bar(sums[i], sums[i + 1], low, high))))),
        make('tfoot', {}, make('tr', {}, make('th', { scope: 'row' }, 'together'), make('td', {}, amount(sums.at(-1), more, less)), make('td', { class: 'bars' }, bar(0, sums.at(-1), low, high)))));
}

export function whyThisNumber(parts) {
    return make('details', { class: 'why' }, make('summary', {}, 'Why this number'),
        make('p', {}, 'In dB inside the deck; the dial’s marks follow from what one mark is worth.'),
        waterfall('Bias', parts, 'bias_db', 'more bias', 'less bias'),
        waterfall('Record trim', parts, 'level_db', 'more gain', 'less gain'), make('div', { class: 'last' }));
}

export function cautionList(cautions) {
    return cautions?.length ? make('ul', { class: 'cautions', 'aria-label': 'Mind' }, cautions.map((caution) => make('li', {}, caution.text))) : null;
}

// What to set, and what to mind.
export function settingsView(answer, deck, keptAt = null) {
    return [
        keptAt ? make('p', { class: 'note' }, `No signal: this is what the book said ${age(keptAt)}.`) : null,
        make('div', { class: 'settings' }, quantity('Bias', deck.bias_dial, answer.bias), quantity('Record trim', deck.level_dial, answer.level)),
        make('p', { class: 'expect' }, expectation(answer.expect)),
        cautionList(answer.cautions),
    ];
}

// ---- how far the newest result of the pair moved it ----

function moves(db, more, less, what) {
    return Math.abs(db) < 0.05 ? `hardly at all in ${what.toLowerCase()}` : `by ${number(Math.abs(db), 2)}\u00a0dB towards ${db > 0 ? more : less}`;
}

export function lastResultView(last) {
    if (!last?.moved) return null;
    const kinds = [['Bias', 'bias_db', 'more bias', 'less bias'], ['Record trim', 'level_db', 'more gain', 'less gain']].filter(([, member]) => last.moved[member] !== null);
    const day = new Date(last.made_at).toLocaleDateString('en-GB', { day: 'numeric', month: 'long', year: 'numeric' });
    return [
        make('p', {}, make('strong', {}, 'The last result of this pair'), `, ${day}${last.member ? ` by ${last.member}` : ''}, ${last.later ? 'and what came after it ' : ''}moved the book ${kinds.every(([, member]) => Math.abs(last.moved[member]) < 0.05) ? 'hardly at all'
            : kinds.map(([what, member, more, less]) => moves(last.moved[member], more, less, what)).join(', ')}.`),
        kinds.map(([what, member, more, less]) => make('p', { class: 'small' }, `${what}: before that day the book would have said ${amount(last.before[member], more, less)}; found was ${amount(last.found[member], more, less)}; ` +
            `for that recording it now says ${amount(last.now[member], more, less)}.`)),
    ];
}

// What it rests on, and why.
export function groundsView(answer) {
    return [
        make('p', { class: 'basis' }, basisSentence(answer.basis)),
        answer.parts?.length ? whyThisNumber(answer.parts) : null,
        make('p', { class: 'small' }, `From every change up to number ${answer.model.as_of}.`),
    ];
}
