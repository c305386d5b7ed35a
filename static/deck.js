// SPDX-License-Identifier: GPL-3.0-or-later
// One deck: is it the tape or the deck and what to check first; its change over time; where it stands class by class; services, checks; the inside preset.
import { find, make, replace } from './dom.js';
import { ask, get } from './api.js';
import { className, deckOf, loadBook, stockOf } from './book.js';
import { fillDecks, readNumbers, signKeys } from './fields.js';
import { remember, remembered } from './kept.js';
import { count, newUuid, number, timestamp } from './numbers.js';
import { nameEntries, startPage } from './page.js';
import { amount, asked, chance, day, db, drawing, fill, keepAddress, known, moreLess, odds, part, plusMinus, setting, table, trouble } from './know.js';

const select = find('#k-deck');
const kinds = { belts: 'belts', 'pinch-roller': 'pinch roller', 'heads-cleaned': 'heads cleaned', 'heads-replaced': 'heads replaced', azimuth: 'azimuth', 'playback-aligned': 'playback aligned', 'record-trims': 'record trims inside', realigned: 'realigned',
    demagnetised: 'demagnetised', motor: 'motor', speed: 'speed', other: 'other' };
const RESETS = ['heads-replaced', 'playback-aligned', 'record-trims', 'realigned', 'azimuth'];
let book = null;

const path = (tail) => `api/decks/${encodeURIComponent(select.value)}/${tail}`;
const responseName = { bias: 'bias', level: 'record level' };
const fact = (name, ...value) => make('div', {}, make('dt', {}, name), make('dd', {}, value));

// ---- tape or deck, what to check first ----

const verdicts = {
    deck: (h) => `It is the deck: odds ${odds(h.odds)}.`, tape: (h) => `It is the tape: odds ${odds(h.odds)}.`, 'nothing unusual': () => 'Nothing unusual in its newest results.',
    'cannot tell yet': (h) => `Tape or deck? Cannot tell yet (deck ${chance(h.chance.deck)}, tape ${chance(h.chance.tape)}).`,
};

function verdict(h) {
    if (!h.case) return make('p', { class: 'note' }, 'Nothing was logged on this deck yet.');
    const evidence = (hint) => `Rests on ${count(hint.results, 'result')}${hint.sign ? `; ${db(hint.size_db, 1)} ± ${number(hint.size_se_db, 2)}` : `; ${part(hint.part)} of them, ${part(hint.part_elsewhere)} elsewhere`}.`;
    return [
        make('p', { class: 'words' }, make('strong', {}, verdicts[h.verdict](h)), make('span', {}, `Looked at: ${count(h.recent, 'result')} since ${day(h.recent_since)}${h.change_noticed ? ', when it changed' : ''}, the last with ${stockOf(book, h.case.stock)?.name ?? h.case.stock}.`)),
        h.would_tell ? make('p', { class: 'note' }, `What would tell: ${h.would_tell}.`) : null,
        h.hints.length ? make('h2', {}, 'What to check first') : null,
        h.hints.map((hint) => [make('h3', {}, `${hint.pattern[0].toUpperCase()}${hint.pattern.slice(1)} (${chance(hint.chance)})`), make('ol', { class: 'steps' }, hint.checks.map((text) => make('li', {}, text))),
            make('p', { class: 'small' }, `${evidence(hint)} Order of checks: ${hint.source}. `,
                hint.rests_on.length ? make('details', {}, make('summary', {}, 'The results'), make('p', {}, hint.rests_on.map((id, i) => [i ? ', ' : '', make('a', { href: `api/calibrations/${id}` }, String(i + 1))]))) : null)]),
    ];
}

// ---- change over time ----

function signal(one) {
    const wants = amount(one.response, one.size_db);
    const half = { record: 'The playback checks stayed: the record side changed.', playback: 'The playback checks moved with it: the playback side changed.' }[one.half.verdict] ?? `Record or playback side cannot be told: ${one.half.would_tell}.`;
    return make('div', { class: 'problem' }, make('p', {}, make('strong', {}, `It wants ${wants} ${one.after ? `since between ${day(one.after)} and` : 'since'} ${day(one.since)}`), ` (± ${number(1.645 * one.size_se_db, 1)} dB), noticed with the result of ${day(one.found_at)}. ${half}`));
}

function course(t) {
    const eras = t.eras.map((era) => [`${day(era.from)} to ${day(era.to)}`, era.begins === 'service' ? kinds[era.service_kind] ?? era.service_kind : era.begins, String(era.results), moreLess(era.bias.db, era.bias.se_db), moreLess(era.level.db, era.level.se_db)]);
    if (!t.points.length) return null;
    return [
        make('h2', {}, 'Change over time'),
        t.signals.length ? t.signals.map(signal) : make('p', {}, 'No change was noticed beyond what services did.'),
        drawing(`charts/decks/${t.deck}.svg`, { kind: 'time' }), drawing(`charts/decks/${t.deck}.svg`, { kind: 'time', response: 'level' }),
        table('Where the deck stood, the tapes taken off, dB against an average deck', ['From, to', 'Begins with', '#Results', '#Bias', '#Record gain'], eras),
        make('p', { class: 'small' }, `Since its last reset or change it wants ${moreLess(t.per_year_db.bias, t.per_year_db.bias_se)} dB of bias and ${moreLess(t.per_year_db.level, t.per_year_db.level_se)} dB of record gain each year. After a reset the first ${t.baseline} results say where it stands; changes are noticed from then on.`),
    ];
}

// ---- where it stands ----

function stands(s) {
    const worth = (dial) => (dial ? `${db(dial.db_per_unit)} a ${dial.unit}${dial.se ? ` ± ${number(dial.se, 2)}` : ''}${dial.learned ? ', learned' : ''}` : 'no dial');
    return [
        make('p', { class: 'next' }, make('a', { href: './', click: () => remember('deck', s.deck) }, 'Where to start on it'), ' · ', make('a', { href: 'bench.html', click: () => remember('deck', s.deck) }, 'At the bench'), ' · ', make('a', { href: `sheet.html?deck=${s.deck}` }, 'Its sheet, to print')),
        make('h2', {}, 'Class by class'), drawing(`charts/decks/${s.deck}.svg`, { kind: 'classes' }),
        table('Against an average deck, and how it answers to a dB of bias', ['Class', '#Results', '#Bias, dB', '#Record gain, dB', '#Low tone', '#High tone'], s.classes.map((one) => [one.name, String(one.calibrations), moreLess(one.bias.offset_db, one.bias.se_db),
            moreLess(one.level.offset_db, one.level.se_db), moreLess(one.slopes.a, one.slopes.a_se, 'up', 'down'), moreLess(-one.slopes.b, one.slopes.b_se, 'up', 'down')])),
        make('h2', {}, 'How reliable it is'),
        make('dl', { class: 'facts' }, fact('Results, members', `${s.calibrations}, ${s.members}`), fact('Tapes lined up', part(s.settled_part)), fact('A dial ran out', part(s.stopped_part)), fact('High tone wanders', known(s.unsteady_db) ? `${db(s.unsteady_db, 1)} (${s.unsteady_calibrations} say)` : 'nobody said'),
            fact('Left minus right at the high tone', known(s.high_balance_db) ? db(s.high_balance_db, 1) : 'nobody said'), fact('Results scatter by', `${db(s.bias.scatter_db)} bias (club ${number(s.bias.club_scatter_db, 2)}), ${db(s.level.scatter_db)} level`),
            fact('Bias dial', worth(s.dials.bias)), fact('Trim dial', worth(s.dials.level))),
    ];
}

// ---- services and checks ----

function services(s, log) {
    const due = (one) => log.find((entry) => entry.id === one.service)?.notes?.match(/due again: (\d{4}-\d\d-\d\d)/)?.[1] ?? '';
    const change = (one, response) => (known(one[response].change_db) ? `${number(one[response].change_db, 2)} (${number(one[response].low90_db, 2)} … ${number(one[response].high90_db, 2)})` : '–');
    const today = timestamp().slice(0, 10), late = s.services.filter((one) => due(one) && due(one) < today);
    return [
        late.length ? make('p', { class: 'note' }, `Due: ${late.map((one) => `${kinds[one.kind] ?? one.kind}, since ${due(one)}`).join('; ')}.`) : null,
        s.services.length ? drawing(`charts/decks/${s.deck}.svg`, { kind: 'services' }) : null,
        table('After a service against before, dB, with the range that holds the change nine times in ten', ['Day', 'What', 'Resets', '#Results before, after', '#Bias', '#Record level', 'Due again'],
            s.services.map((one) => [day(one.made_at), kinds[one.kind] ?? one.kind, one.resets ? 'yes' : '', `${one.before}, ${one.after}`, change(one, 'bias'), change(one, 'level'), due(one)])),
    ];
}

const checks = (s) => [s.checks.some((one) => one.kind === 'playback') ? null : make('p', { class: 'note' }, 'No playback check was logged: when this deck changes, record and playback side cannot be told apart.'),
    table('Checks of the playback side and of the control tape, dB', ['Day', 'Which', '#Low tone', '#High tone', '#Left minus right, high'], s.checks.toReversed().map((one) => [day(one.made_at), one.kind === 'playback' ? 'playback' : 'control tape', plusMinus(one.low_db), plusMinus(one.high_db), plusMinus(one.high_balance_db)]))];

async function put(form, kind, numbers, more) {
    const said = find(`#${kind}-said`), errors = [], body = { kind: form.kind.value, ...more };
    readNumbers(form, numbers, body, errors);
    if (!form.day.value) errors.push({ detail: 'Say on which day.' });
    if (errors.length) return replace(said, make('p', { class: 'problem' }, errors.map((error) => error.detail).join(' ')));
    form.dataset.id ||= newUuid(); // the same on a retry
    try {
        await ask('PUT', path(`${kind}s/${form.dataset.id}`), { body: { ...body, made_at: timestamp(new Date(`${form.day.value}T12:00`)) } });
    } catch (error) {
        return replace(said, make('p', { class: 'problem' }, `Not logged: ${error.message}.`.replace('..', '.')));
    }
    delete form.dataset.id;
    form.reset();
    replace(said, make('p', { class: 'receipt' }, 'Logged.'));
    return refresh();
}

// ---- the inside preset ----

function shift(c) {
    const deck = deckOf(book, select.value);
    const name = (id) => stockOf(book, id)?.name ?? id;
    const say = (what, one) => (one ? make('p', { class: 'words' }, make('strong', {}, `${what}: ${one.words}`), make('span', {}, one.shift_db
        ? `Anything from ${db(one.from_db, 1)} to ${db(one.to_db, 1)} keeps as many. A dial left at its centre then gives ${db(one.at_centre_high_db, 1)} at the high tone and ${db(one.at_centre_low_db, 1)} at the low one.` : `The nearest tape keeps ${db(one.spare_db, 1)} to the end of the dial.`)) : null);
    return [say('Bias', c.bias), say('Record trim', c.level), !c.bias && !c.level ? make('p', {}, 'Choose the tapes.') : null,
        c.left_out.length ? [make('h3', {}, 'Left out'), make('ul', {}, c.left_out.map((one) => make('li', {}, `${name(one.stock)}: at the end of the dial the high tone reads ${db(one.high_db, 1)}, the low one ${db(one.low_db, 1)}.`)))] : null,
        table('After the shift', ['Tape', 'Bias dial', 'Trim dial', 'Range'], c.stocks.map((one) => [one.name, one.bias ? setting(deck.bias_dial, one.bias) : '–', one.level ? setting(deck.level_dial, one.level) : '–',
            [one.bias, one.level].every((set) => !set || set.whole_inside) ? 'inside' : [one.bias, one.level].every((set) => !set || set.inside) ? 'may reach the end' : 'left out']))];
}

async function centre() {
    const chosen = [...find('#mine').querySelectorAll('input:checked')].map((input) => input.value);
    return chosen.length ? shift(await get(path('centre'), { stocks: chosen.join(',') })) : make('p', {}, 'Choose the tapes.');
}

async function offer() {
    const sheet = await get(path('sheet'), { logged: 1, sort: 'used' });
    replace(find('#tapes'), sheet.rows.map((row, i) => make('li', { class: 'check' }, make('input', { type: 'checkbox', id: `t-${i}`, value: row.stock, checked: i < 12 }), make('label', { for: `t-${i}` }, row.stock_name))));
    return centre();
}

// ---- the page ----

function refresh() {
    const figures = get(path('statistics'));
    fill('#verdict', async () => verdict(await get(path('hints'))));
    fill('#course', async () => course(await get(path('trend'))));
    fill('#stands', async () => stands(await figures));
    fill('#services', async () => services(await figures, (await get(path('services'))).services));
    fill('#checks', async () => checks(await figures));
}

function show() {
    const deck = deckOf(book, select.value);
    for (const id of ['#care', '#centre']) find(id).hidden = !deck;
    if (!deck) return;
    keepAddress({ deck: deck.id });
    find('#title').textContent = deck.name;
    document.title = `${deck.name} – biasbook`;
    refresh();
    fill('#shift', offer);
}

async function ready() {
    try {
        book = await loadBook();
    } catch (error) {
        return trouble(find('#verdict'), error);
    }
    nameEntries(book);
    fillDecks(select, book, asked().deck ?? remembered('deck') ?? book.decks[0]?.id);
    return show();
}

const service = find('#service'), check = find('#check');
replace(service.kind, Object.entries(kinds).map(([value, name]) => make('option', { value }, name)));
service.kind.addEventListener('change', () => { service.resets.checked = RESETS.includes(service.kind.value); });
service.addEventListener('submit', (event) => {
    event.preventDefault();
    const notes = [service.notes.value.trim(), service.due.value ? `due again: ${service.due.value}` : ''].filter(Boolean).join('\n');
    put(service, 'service', ['bias_shift_db', 'level_shift_db'], { resets: service.resets.checked, ...(notes && { notes }) });
});
check.addEventListener('submit', (event) => { event.preventDefault(); put(check, 'check', ['low_db', 'high_db'], {}); });
for (const form of [service, check]) signKeys(form);
find('#choose').addEventListener('submit', (event) => event.preventDefault());
select.addEventListener('change', show);
find('#mine').addEventListener('change', () => fill('#shift', centre));
startPage(ready);
