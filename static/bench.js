// SPDX-License-Identifier: GPL-3.0-or-later
// The bench, one tape after the other: choose → checklist → set and read, again and again → it lines up → logged. State is in bench-store.js,
// what is shown in bench-view.js; here is only which step follows which.
import { all, find, focusOn, make, replace, show } from './dom.js';
import { ask, NoSignal } from './api.js';
import { asLeft, loadBench, moveQuestion, newBench, sameSetting, saveBench, startQuery, toCalibration } from './bench-store.js';
import { checkItems, checks, ladderFields, movesTable, moveView, readFields, remarks, verdictView } from './bench-view.js';
import { deckOf, loadBook, stockOf, suggestion, tapeName } from './book.js';
import { checkDial, clearWrong, fillChannels, fillDecks, fillSetups, fillStocks, inputOf, noErrors, placeUnits, PLACES, readNumbers, readTexts, sayErrors, sayReadings, searchField, setPlace, signKeys, usedLately } from './fields.js';
import { remember, remembered } from './kept.js';
import { number, readNumber, timestamp } from './numbers.js';
import { nameEntries, startPage } from './page.js';
import { discard, submit } from './queue.js';
import { cautionList, groundsView, settingsView } from './setting.js';

const steps = { choose: find('#choose'), check: find('#check'), turn: find('#turn'), done: find('#done'), logged: find('#logged') };
const problem = find('#problem');
const readForm = find('#read');
const finish = find('#finish');
let book = null, bench = null, setPlaces = null;
let answer = null; // the book's last word: a suggestion before the first reading, a next move after it

const deck = () => deckOf(book, bench.deck);
const taste = () => remembered('taste', 0) || 0;
const plan = () => (deck().heads === 2 && !bench.one_by_one ? 'ladder' : 'single');

function goTo(step, { focus = true } = {}) {
    bench.step = step;
    saveBench(bench);
    show(problem, false);
    for (const [name, node] of Object.entries(steps)) show(node, name === step);
    const on = find('#on-bench');
    show(on, step !== 'choose');
    if (step !== 'choose') on.textContent = `${tapeName(book, bench.stock)} on ${deck().name}${bench.channel ? `, ${bench.channel} channel` : ''}${bench.setup && bench.setup !== 'main' ? `, ${bench.setup}` : ''}`;
    if (focus) {
        focusOn(find('h2', steps[step]));
        find('.taste').scrollIntoView({ block: 'start' }); // the taste stays in sight, the page's head need not
    }
}

function fail(text) {
    replace(problem, make('p', {}, text));
    show(problem, true);
    focusOn(problem);
}

// ---- taste ----

function showTaste() {
    const lift = taste();
    find('#taste-words').textContent = lift ? `${number(Math.abs(lift), 1)} dB ${lift > 0 ? 'lift' : 'less'} at the high tone` : 'flat';
    find('#taste').value = lift || '';
}

find('#taste-change').addEventListener('click', (event) => {
    const form = find('#taste-form');
    show(form, form.hidden);
    event.target.setAttribute('aria-expanded', String(!form.hidden));
    if (!form.hidden) find('#taste').focus();
});

find('#taste-form').addEventListener('submit', (event) => {
    event.preventDefault();
    const errors = [], into = {};
    readNumbers(event.target, ['treble_db'], into, errors);
    if (Math.abs(into.treble_db ?? 0) > 6) errors.push({ field: 'treble_db', detail: 'A lift between −6 and 6 dB.' });
    if (errors.length) return sayErrors(event.target, problem, errors, 'The taste was not changed.');
    noErrors(event.target, problem);
    remember('taste', into.treble_db ?? 0);
    showTaste();
    find('#taste-change').click();
    find('#taste-change').focus();
    if (bench?.step === 'turn') showTurn();
    return undefined;
});

// ---- choose ----

function fillTapes(like = '') {
    fillStocks(find('#b-stock'), book, { medium: deckOf(book, find('#b-deck').value)?.medium, chosen: find('#b-stock').value || bench.stock, recent: remembered('recent', []), classes: true, like });
}

function deckChosen() {
    const now = deckOf(book, find('#b-deck').value);
    fillTapes();
    show(find('#b-setup').closest('.field'), fillSetups(find('#b-setup'), now, bench.setup));
    show(find('#b-channel').closest('.field'), !!now?.per_channel);
    fillChannels(find('#b-channel'), now);
    setPlaces(now);
}

function showChoose(options) {
    fillDecks(find('#b-deck'), book, bench.deck ?? remembered('deck'));
    find('#b-stock').value = '';
    find('#b-channel').value = bench.channel;
    deckChosen();
    if (bench.channel) find('#b-channel').value = bench.channel;
    for (const name of ['side', 'batch', 'tape', 'recordings', 'low_hz', 'high_hz']) inputOf(steps.choose, name).value = bench[name] ?? '';
    find('#b-for-nr').checked = !!bench.for_noise_reduction;
    setPlace(find('#b-position'), bench.place ? { [bench.place.name]: bench.place.value } : {});
    goTo('choose', options);
}

steps.choose.addEventListener('submit', (event) => {
    event.preventDefault();
    const form = steps.choose, errors = [], read = {};
    const stock = find('#b-stock').value;
    if (!find('#b-deck').value) errors.push({ field: 'deck', detail: 'Choose the deck.' });
    if (!stock) errors.push({ field: 'stock', detail: 'Choose the tape, or its class at the end of the list.' });
    readNumbers(form, ['recordings', ...PLACES, 'low_hz', 'high_hz'], read, errors);
    if (errors.length) return sayErrors(form, problem, errors, 'See what is marked.');
    noErrors(form, problem);
    readTexts(form, ['setup', 'channel', 'side', 'batch', 'tape'], read);
    const chosen = find('#b-deck').value;
    if (chosen !== bench.deck || (stock !== bench.stock && bench.moves.length)) Object.assign(bench, { ...newBench(chosen === bench.deck ? bench : {}) });
    for (const name of ['setup', 'channel', 'side', 'batch', 'tape', 'recordings', 'low_hz', 'high_hz']) bench[name] = read[name] ?? '';
    bench.deck = chosen;
    bench.stock = stock;
    if (!deck().per_channel) bench.channel = '';
    bench.for_noise_reduction = find('#b-for-nr').checked;
    const place = PLACES.find((name) => read[name] !== undefined);
    bench.place = place ? { name: place, value: read[place] } : null;
    remember('deck', chosen);
    remember('stock', stock);
    if (!stock.startsWith('class:')) remember('recent', usedLately(remembered('recent', []), stock));
    showCheck();
    return undefined;
});

// ---- checklist ----

function showCheck() {
    const stock = stockOf(book, bench.stock);
    const lists = checks(deck(), stock, book.classes.find((entry) => entry.id === (stock?.class ?? bench.stock.slice(6))));
    const change = (list) => (name, on) => {
        bench[list] = bench[list].filter((other) => other !== name).concat(on ? [name] : []);
        saveBench(bench);
    };
    replace(find('#checklist'), checkItems('deck', lists.deck, bench.deck_checks, change('deck_checks')), checkItems('tape', lists.tape, bench.tape_checks, change('tape_checks')));
    goTo('check');
}

steps.check.addEventListener('submit', (event) => { event.preventDefault(); showTurn(); });

// ---- set and read ----

async function showTurn({ readings = {} } = {}) {
    const first = !bench.moves.length;
    find('#turn-title').textContent = first ? 'Start setting' : `Move ${bench.moves.length + 1}`;
    replace(find('#target'), make('p', {}, 'Asking the book…'));
    replace(find('#rests'));
    replace(find('#so-far'), movesTable(deck(), bench.moves));
    show(find('#undo'), !first);
    show(find('#enough'), !first);
    goTo('turn');
    try {
        answer = null;
        await askBook(first);
    } catch (error) {
        if (bench.step !== 'turn') return;
        const why = error instanceof NoSignal ? 'No signal, so the book cannot work out this move.' : `The book did not answer: ${error.message}.`;
        replace(find('#target'), make('p', { class: 'note' }, `${why} You can go on by hand: set the dials, write down where they stand and what you read; all of it is kept.`),
            make('button', { type: 'button', click: () => showTurn() }, 'Ask again'));
    }
    if (bench.step !== 'turn') return;
    fillRead(readings);
}

async function askBook(first) {
    const ladder = plan() === 'ladder';
    const moved = first && !ladder ? null : (await ask('POST', 'api/next-move', { body: moveQuestion(bench, taste(), plan()) })).value;
    const { answer: start, kept_at: keptAt } = first ? await suggestion(startQuery(bench, taste())) : {};
    answer = moved ?? start;
    bench.target = { bias: answer.bias?.dial ?? undefined, level: answer.level?.dial ?? undefined };
    bench.ladder = moved?.ladder?.length ? moved.ladder.map(rung) : null;
    if (moved?.settled && !first) return showDone();
    if (bench.ladder) find('#turn-title').textContent = first ? 'Settings around the start' : 'More settings to record';
    if (first) replace(find('#rests'), groundsView(start));
    if (bench.ladder) replace(find('#target'), first ? cautionList(start.cautions) : remarks(moved));
    else replace(find('#target'), first ? settingsView(start, deck(), keptAt) : moveView(moved, deck()));
    return saveBench(bench);
}

// Without a dial the book says null; here it is left out.
const rung = (entry) => ({ bias: entry.bias ?? undefined, level: entry.level ?? undefined });

function tones() {
    const name = (hz) => (hz >= 1000 ? `${number(hz / 1000, 2).replace(/\.?0+$/, '')} kHz` : `${number(hz, 0)} Hz`);
    return { low: name(bench.low_hz || deck().low_hz || 315), high: name(bench.high_hz || deck().high_hz || 10000) };
}

function fillRead(readings) {
    if (bench.ladder && plan() === 'ladder') {
        replace(readForm, ladderFields(deck(), bench.ladder));
        find('#one-by-one').addEventListener('click', () => { bench.one_by_one = true; showTurn(); });
    } else {
        replace(readForm, readFields(deck(), bench.target ?? bench.moves.at(-1), tones(), readings));
    }
    signKeys(readForm);
    sayReadings(readForm);
}

function readOne(errors) {
    const read = {};
    readNumbers(readForm, ['r-bias', 'r-level', 'r-low', 'r-high'], read, errors);
    checkDial(deck().bias_dial, 'bias', 'r-bias', read, errors);
    checkDial(deck().level_dial, 'record trim', 'r-level', read, errors);
    for (const [field, tone] of [['r-low', 'low'], ['r-high', 'high']])
        if (read[field] === undefined && !errors.some((error) => error.field === field)) errors.push({ field, detail: `Enter what the ${tone} tone reads: 0 when tape and source are level.` });
    return [move({ bias: read['r-bias'], level: read['r-level'], low_db: read['r-low'], high_db: read['r-high'] })];
}

function readLadder(errors) {
    const moves = [];
    for (const [at, setting] of bench.ladder.entries()) {
        const values = ['low', 'high'].map((tone) => {
            const input = find(`#r-${at}-${tone}`);
            const { value, wrong } = readNumber(input.value);
            if (wrong) errors.push({ field: input.name, detail: wrong });
            return value;
        });
        if (values[0] !== null && values[1] !== null) moves.push(move({ ...setting, low_db: values[0], high_db: values[1] }));
        else if (values.some((value) => value !== null && value !== undefined)) errors.push({ field: `r-${at}-${values[0] === null ? 'low' : 'high'}`, detail: 'Enter both tones of a setting, or neither.' });
    }
    if (!moves.length && !errors.length) errors.push({ field: 'r-0-low', detail: 'Enter the readings of one setting at least.' });
    return moves;
}

// Only members this deck has a dial for.
function move({ bias, level, low_db, high_db }) {
    return { ...(deck().bias_dial && { bias }), ...(deck().level_dial && { level }), low_db, high_db };
}

readForm.addEventListener('submit', (event) => {
    event.preventDefault();
    clearWrong(readForm);
    const errors = [];
    const moves = bench.ladder && plan() === 'ladder' ? readLadder(errors) : readOne(errors);
    if (bench.moves.length + moves.length > 40) errors.push({ field: '', detail: 'Forty readings are the most for one tape: log it as it stands.' });
    if (errors.length) return sayErrors(readForm, problem, errors, 'See what is marked.');
    noErrors(readForm, problem);
    bench.undo_to = [...(bench.undo_to ?? []), bench.moves.length];
    bench.moves = [...bench.moves, ...moves];
    saveBench(bench);
    showTurn();
    return undefined;
});

find('#undo').addEventListener('click', undo);
function undo() {
    const last = bench.moves.at(-1);
    const back = bench.undo_to?.pop() ?? bench.moves.length - 1;
    bench.moves = bench.moves.slice(0, Math.max(0, back));
    bench.settled_at = null;
    bench.target = { bias: last.bias, level: last.level };
    showTurn({ readings: last }).then(() => {
        // What was typed is put back, to be mended rather than typed again.
        if (!bench.ladder && inputOf(readForm, 'r-bias') && last.bias !== undefined) inputOf(readForm, 'r-bias').value = number(last.bias, 2).replace(/\.?0+$/, '');
        if (!bench.ladder && inputOf(readForm, 'r-level') && last.level !== undefined) inputOf(readForm, 'r-level').value = number(last.level, 2).replace(/\.?0+$/, '');
    });
}

find('#enough').addEventListener('click', () => { answer = null; showDone(); });

// ---- it lines up ----

function showDone() {
    if (answer?.settled) {
        const settled = { bias: answer.bias?.dial ?? undefined, level: answer.level?.dial ?? undefined };
        // Nothing left to turn may come without a setting: then it is the last one read.
        bench.settled_at = bench.moves.some((one) => sameSetting(one, settled)) || settled.bias !== undefined || settled.level !== undefined ? settled : null;
    } else {
        bench.settled_at = null;
    }
    replace(find('#target'));
    find('#done-title').textContent = answer?.settled ? 'It lines up' : 'Log it as it stands';
    replace(find('#verdict'), verdictView(answer, deck(), asLeft(bench)), movesTable(deck(), bench.moves));
    find('#f-unsettled').checked = false;
    show(find('#f-stock-field'), bench.stock.startsWith('class:'));
    if (bench.stock.startsWith('class:')) fillStocks(find('#f-stock'), book, { medium: deck().medium, chosen: null, recent: [] });
    fillProof();
    goTo('done');
}

const PROOF_HZ = [1000, 6300, 12500];
function fillProof() {
    const cell = (at, name, label, value) => make('td', {}, make('input', { id: `p-${at}-${name}`, name: `proof.${at}.${name}`, type: 'text', inputmode: 'decimal', autocomplete: 'off', 'aria-label': `Proof ${at + 1}, ${label}`, value, 'data-signed': name !== 'hz' }));
    replace(find('#proof tbody'), PROOF_HZ.map((hz, at) => make('tr', {}, cell(at, 'hz', 'tone, Hz', String(hz)), cell(at, 'left_db', 'left, dB', null), cell(at, 'right_db', 'right, dB', null))));
    signKeys(find('#proof'));
}

function readProof(errors) {
    const rows = [];
    for (const at of PROOF_HZ.keys()) {
        const read = {};
        readNumbers(finish, [`proof.${at}.hz`, `proof.${at}.left_db`, `proof.${at}.right_db`], read, errors);
        const [hz, left, right] = ['hz', 'left_db', 'right_db'].map((name) => read[`proof.${at}.${name}`]);
        if (left === undefined && right === undefined) continue;
        if (hz === undefined || left === undefined || right === undefined) errors.push({ field: `proof.${at}.${hz === undefined ? 'hz' : left === undefined ? 'left_db' : 'right_db'}`, detail: 'Enter the tone and both channels, or leave the row empty.' });
        rows.push({ hz, left_db: left, right_db: right });
    }
    return rows;
}

finish.addEventListener('submit', async (event) => {
    event.preventDefault();
    noErrors(finish, problem);
    const errors = [], extra = {};
    readNumbers(finish, ['low_balance_db', 'high_balance_db', 'unsteady_db', 'peak_db'], extra, errors);
    readTexts(finish, ['notes'], extra);
    const proof = readProof(errors);
    if (proof.length) extra.proof = proof;
    if (find('#f-unsettled').checked) extra.settled = false;
    if (bench.stock.startsWith('class:')) {
        if (find('#f-stock').value) extra.stock = find('#f-stock').value;
        else errors.push({ field: 'stock', detail: 'Choose the tape: the book keeps results by tape.' });
    }
    if (errors.length) return sayErrors(finish, problem, errors, 'Not logged yet: see what is marked.');
    bench.made_at ??= timestamp();
    const button = find('button.main', finish);
    button.disabled = true;
    try {
        const body = { ...toCalibration(bench, book, taste(), extra), ...(extra.stock && { stock: extra.stock }) };
        const outcome = await submit(bench.id, body);
        if (outcome.state === 'refused') {
            await discard(bench.id);
            return sayErrors(finish, problem, outcome.errors.length ? outcome.errors : [{ field: '', detail: outcome.why }], 'The book did not take it; it is all still here.');
        }
        showLogged(outcome, body);
    } catch (error) {
        fail(`Not logged yet: ${error.message}.`);
    } finally {
        button.disabled = false;
    }
    return undefined;
});

// ---- logged ----

function showLogged(outcome, body) {
    const kept = outcome.state === 'waiting';
    find('#logged-title').textContent = kept ? 'Kept on this device' : 'Logged';
    replace(find('#logged-words'), kept ? make('p', {}, `Not in the book yet: ${outcome.why}. It is sent as soon as the book answers, once.`)
        : make('p', {}, `${stockOf(book, body.stock)?.name ?? body.stock} with ${body.moves?.length === 1 ? 'one reading' : `${body.moves?.length ?? 0} readings`}; change number ${outcome.reply.seq}.`));
    const other = deck().per_channel && bench.channel === 'left';
    show(find('#next-channel'), other);
    bench.step = 'logged';
    const done = bench;
    goTo('logged');
    finish.reset();
    // What is done is done: a reload begins with the next tape.
    saveBench(newBench(done));
}

find('#next-tape').addEventListener('click', () => { bench = newBench({ ...bench, channel: deck().per_channel ? 'left' : '' }); showChoose(); });
find('#other-deck').addEventListener('click', () => { bench = newBench(); showChoose(); });
find('#next-channel').addEventListener('click', () => {
    const { stock, side, batch, tape, recordings, place, tape_checks } = bench;
    bench = Object.assign(newBench(bench), { stock, side, batch, tape, recordings, place, tape_checks, channel: 'right' });
    showTurn();
});

for (const button of all('.back'))
    button.addEventListener('click', () => {
        if (bench.step === 'check') showChoose();
        else if (bench.step === 'turn') showCheck();
        else if (answer?.settled && bench.moves.length) undo();
        else showTurn();
    });

// ---- the screen stays on while a tape is on the bench, where the browser can ---
async function stayAwake() {
    try {
        await navigator.wakeLock?.request('screen');
    } catch { /* battery low, or not allowed: nothing to do */ }
}
document.addEventListener('visibilitychange', () => { if (!document.hidden) stayAwake(); });

let begun = false;
async function ready() {
    try {
        book = await loadBook();
    } catch (error) {
        if (error.status !== 401) fail(`The book’s lists cannot be read: ${error.message}.`);
        return;
    }
    nameEntries(book);
    setPlaces ??= placeUnits(find('#b-position'));
    searchField(find('#b-stock'), book, fillTapes);
    bench ??= loadBench();
    if (begun) return;
    begun = true;
    find('#b-deck').addEventListener('change', deckChosen);
    signKeys(document);
    stayAwake();
    const known = deckOf(book, bench.deck) && (bench.stock?.startsWith('class:') || stockOf(book, bench.stock));
    if (known && bench.step === 'check') showCheck();
    else if (known && (bench.step === 'turn' || bench.step === 'done') && bench.moves.length + (bench.step === 'turn') > 0) showTurn();
    else showChoose({ focus: false });
}
showTaste();
startPage(ready);
