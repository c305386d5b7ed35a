// SPDX-License-Identifier: GPL-3.0-or-later
// The log form: reads it into a calibration, hands it to the queue, and says what became of it. One UUID belongs to one entry until the book has
// acknowledged it: pressing again, or mending what was refused, sends the same one.
import { all, find, focusOn, make, replace, show } from './dom.js';
import { ask } from './api.js';
import { deckOf, stockOf } from './book.js';
import { becomeSelect, checkDial, clearWrong, fillChannels, fillDecks, fillSetups, fillStocks, inputOf, noErrors, PLACES, placeUnits, readNumbers, readTexts, sayErrors, sayReadings, searchField, setDialField, setPlace, signKeys } from './fields.js';
import { kept, remembered } from './kept.js';
import { newUuid, number, place, timestamp } from './numbers.js';
import { discard, submit } from './queue.js';

const form = find('#log-form');
const box = find('#log-errors');
const receipt = find('#receipt');
const numbers = ['bias', 'level', 'eq', 'low_db', 'high_db', 'recordings', ...PLACES, 'treble_db', 'drop_db', 'drop_hz', 'low_hz', 'high_hz', 'tone_db',
    'low_balance_db', 'high_balance_db', 'unsteady_db', 'peak_db'];
const texts = ['setup', 'channel', 'side', 'batch', 'tape', 'bias_method', 'bias_stop', 'level_stop', 'notes'];
const flags = ['for_noise_reduction', 'noise_reduction', 'mpx_filter'];
const moveFields = [['bias', 'bias dial'], ['level', 'record trim'], ['low_db', 'low tone'], ['high_db', 'high tone']];
const proofFields = [['hz', 'tone, Hz'], ['left_db', 'left'], ['right_db', 'right']];

let book = null, deckSelect = null, stockSelect = null, setPlaces = null, told = {};
// The entry at hand: its UUID, when it was made, the ETag it corrects, and what was last sent under it.
let entry = null;
const fresh = () => { entry = { id: newUuid(), made_at: null, if_match: null, sent: null }; };

const deck = () => deckOf(book, deckSelect.value);

function fillTapes(like = '', chosen = stockSelect.value) {
    fillStocks(stockSelect, book, { medium: deck()?.medium, chosen, recent: remembered('recent', []), like });
}

function deckChanged() {
    const now = deck();
    fillTapes();
    show(find('#l-setup-field'), fillSetups(find('#l-setup'), now, find('#l-setup').value));
    show(find('#l-channel-field'), !!now?.per_channel);
    fillChannels(find('#l-channel'), now);
    for (const [name, dial] of [['bias', now?.bias_dial], ['level', now?.level_dial], ['eq', now?.eq_dial]]) {
        // Before a deck is chosen both dials are shown, so that nobody thinks they are not asked for.
        setDialField(find(`#l-${name}-field`), dial ?? null);
        if (!now && name !== 'eq') show(find(`#l-${name}-field`), true);
    }
    show(find('#l-bias-stop-field'), !!now?.bias_dial);
    show(find('#l-level-stop-field'), !!now?.level_dial);
    setPlaces(now);
}

// ---- rows of moves and proof tones ----

function addRow(kind, fields, values = {}) {
    const place = find(`#l-${kind}`);
    const at = all('.row', place).length;
    const now = deck();
    const wanted = fields.filter(([name]) => !(kind === 'moves' && ((name === 'bias' && !now?.bias_dial) || (name === 'level' && !now?.level_dial))));
    const label = kind === 'moves' ? (at ? `Move ${at + 1}` : 'As found') : `Proof ${at + 1}`;
    const row = make('fieldset', { class: 'row' }, make('legend', {}, label), wanted.map(([name, text]) => {
        const id = `l-${kind}-${at}-${name}`;
        const signed = name.endsWith('_db') || (now?.[`${name}_dial`]?.low ?? 0) < 0;
        return make('div', { class: 'field' }, make('label', { for: id }, text),
            make('input', { id, name: `${kind}.${at}.${name}`, type: 'text', inputmode: 'decimal', autocomplete: 'off', 'data-signed': signed, value: values[name] ?? null }));
    }));
    place.append(row);
    signKeys(row);
    return row;
}

function readRows(kind, fields, errors) {
    const rows = [];
    for (const [at] of all('.row', find(`#l-${kind}`)).entries()) {
        const named = {};
        readNumbers(form, fields.map(([name]) => `${kind}.${at}.${name}`), named, errors);
        const row = Object.fromEntries(Object.entries(named).map(([name, value]) => [name.split('.')[2], value]));
        if (Object.keys(row).length) rows.push(row);
    }
    return rows;
}

// ---- form to calibration and back ----

function readForm(errors) {
    const body = { deck: deckSelect.value, stock: stockSelect.value };
    const now = deck();
    if (!body.deck) errors.push({ field: 'deck', detail: 'Choose the deck.' });
    if (!body.stock) errors.push({ field: 'stock', detail: 'Choose the tape.' });
    readTexts(form, texts, body);
    if (!now?.per_channel) delete body.channel;
    readNumbers(form, numbers, body, errors);
    if (now) {
        checkDial(now.bias_dial, 'bias', 'bias', body, errors);
        checkDial(now.level_dial, 'record trim', 'level', body, errors);
    }
    if ((body.low_db === undefined) !== (body.high_db === undefined) && !errors.some((error) => error.field === 'low_db' || error.field === 'high_db'))
        errors.push({ field: body.low_db === undefined ? 'low_db' : 'high_db', detail: 'Enter both tones, or neither.' });
    for (const name of flags) if (inputOf(form, name).checked) body[name] = true;
    if (inputOf(form, 'settled').value === 'false') body.settled = false;
    const moves = readRows('moves', moveFields, errors), proof = readRows('proof', proofFields, errors);
    if (moves.length) body.moves = moves;
    if (proof.length) body.proof = proof;
    const made = inputOf(form, 'made_at').value;
    body.made_at = made ? timestamp(new Date(made)) : entry.made_at ?? (entry.made_at = timestamp());
    return body;
}

function fillForm(body) {
    form.reset();
    for (const kind of ['moves', 'proof']) replace(find(`#l-${kind}`));
    deckSelect.value = body.deck;
    fillTapes('', body.stock);
    deckChanged();
    const setup = find('#l-setup');
    if (body.setup) setup.value = body.setup;
    find('#l-channel').value = body.channel === 'both' ? '' : body.channel ?? find('#l-channel').value;
    for (const name of [...numbers, ...texts])
        if (body[name] !== undefined && !PLACES.includes(name) && name !== 'setup' && name !== 'channel' && inputOf(form, name)) inputOf(form, name).value = String(body[name]).replace(/^-/, numbers.includes(name) ? '\u2212' : '-');
    if (body.bias_method === 'flat') inputOf(form, 'bias_method').value = '';
    setPlace(find('#l-position'), body);
    for (const name of flags) inputOf(form, name).checked = body[name] === true;
    inputOf(form, 'settled').value = body.settled === false ? 'false' : '';
    for (const move of body.moves ?? []) addRow('moves', moveFields, move);
    for (const tone of body.proof ?? []) addRow('proof', proofFields, tone);
    if (body.made_at) inputOf(form, 'made_at').value = timestamp(new Date(body.made_at)).slice(0, 16);
    for (const input of all('input[data-say]', form)) input.dispatchEvent(new Event('input'));
}

// Empties what belongs to one tape; deck, tape, setup and channel stay for the next.
function clear() {
    const keepThese = { deck: deckSelect.value, stock: stockSelect.value, setup: find('#l-setup').value, channel: find('#l-channel').value };
    noErrors(form, box);
    fillForm(keepThese);
    fresh();
}

// ---- sending ----

const unchanged = (a, b) => JSON.stringify({ ...a, made_at: null }) === JSON.stringify({ ...b, made_at: null });

async function send() {
    noErrors(form, box);
    const errors = [];
    let body = readForm(errors);
    if (errors.length) return sayErrors(form, box, errors, 'Not logged yet: see what is marked.');
    if (entry.sent && entry.state === 'waiting') {
        if (unchanged(entry.sent, body)) body = entry.sent;
        else fresh(), body.made_at = inputOf(form, 'made_at').value ? body.made_at : timestamp(); // another result: the one that waits is kept
    }
    const button = find('button.main', form);
    button.disabled = true;
    button.textContent = 'Logging…';
    try {
        if (entry.refused409) entry.if_match = (await ask('GET', `api/calibrations/${entry.id}`)).etag;
        const outcome = await submit(entry.id, body, entry.if_match);
        entry.sent = body;
        entry.state = outcome.state;
        if (outcome.state === 'refused') {
            entry.refused409 = outcome.status === 409;
            if (outcome.status === 409 || outcome.status === 412)
                outcome.errors = [{ field: '', detail: 'The book holds something else under this entry. Press “Log it” again to send yours as a correction.' }];
            // Refused while its author looks at it: it is mended here, so it need not wait in the queue.
            await discard(entry.id);
            return sayErrors(form, box, outcome.errors.length ? outcome.errors : [{ field: '', detail: outcome.why }], 'The book did not take it: see what is marked. Nothing is lost, it is all still here.');
        }
        if (outcome.state === 'waiting') return waitingReceipt(outcome.why);
        const logged = { ...entry, body, etag: outcome.etag, reply: outcome.reply };
        clear();
        loggedReceipt(logged);
        told.logged?.(body);
    } catch (error) {
        sayErrors(form, box, [{ field: '', detail: error.message }], 'Not logged yet.');
    } finally {
        button.disabled = false;
        button.textContent = 'Log it';
    }
    return undefined;
}

// ---- receipts ----

function inWords(body) {
    const now = deckOf(book, body.deck);
    const parts = [];
    if (now?.bias_dial) parts.push(`bias ${place(now.bias_dial, body.bias)}`);
    if (now?.level_dial) parts.push(`record trim ${place(now.level_dial, body.level)}`);
    if (body.low_db !== undefined) parts.push(`as left ${number(body.low_db, 2)} dB low tone, ${number(body.high_db, 2)} dB high tone`);
    return `${stockOf(book, body.stock)?.name ?? body.stock} on ${now?.name ?? body.deck}${body.channel ? `, ${body.channel} channel` : ''}: ${parts.join(', ') || 'no dials'}.`;
}

function say(...children) {
    replace(receipt, ...children);
    receipt.hidden = false;
    receipt.setAttribute('role', 'status');
    focusOn(receipt);
}

function waitingReceipt(why) {
    say(make('h3', {}, 'Kept on this device'), make('p', {}, `Not in the book yet: ${why}. It is sent as soon as the book answers; pressing “Log it” again sends this same entry.`),
        make('button', { type: 'button', click: () => { clear(); show(receipt, false); find('input', find('#l-bias-field')).focus(); } }, 'Next calibration'));
}

function loggedReceipt(logged) {
    const again = logged.reply.outcome === 'same';
    say(make('h3', {}, logged.if_match ? 'Corrected' : again ? 'Already in the book' : 'Logged'), make('p', {}, inWords(logged.body)),
        make('p', { class: 'small' }, `Change number ${logged.reply.seq}${logged.reply.revision > 1 ? `, revision ${logged.reply.revision}` : ''}; entry ${logged.id}`),
        make('p', { class: 'actions' },
            make('button', { type: 'button', click: () => { entry = { id: logged.id, made_at: logged.body.made_at, if_match: logged.etag, sent: null }; fillForm(logged.body); show(receipt, false); find('input', find('#l-bias-field')).focus(); } }, 'Correct it'), ' ',
            make('button', { type: 'button', click: (event) => takeOut(event.target, logged) }, 'A misentry: take it out')));
}

async function takeOut(button, logged) {
    button.disabled = true;
    try {
        await ask('POST', `api/calibrations/${logged.id}/void`, { body: { reason: 'misentry' } });
        say(make('h3', {}, 'Taken out'), make('p', {}, `${inWords(logged.body)} It stays in the book as a misentry and no longer counts.`));
        told.logged?.(logged.body);
    } catch (error) {
        button.disabled = false;
        button.after(make('p', { class: 'wrong' }, `Not taken out: ${error.message}.`));
    }
}

// ---- mending what was refused earlier: ./#mend-UUID ----
async function mend() {
    const id = location.hash.match(/^#mend-([0-9a-f-]{36})$/)?.[1];
    const found = id && await kept('queue', id);
    if (!found) return;
    history.replaceState(null, '', location.pathname + location.search);
    clearWrong(form);
    fillForm(found.body);
    entry = { id, made_at: found.body.made_at, if_match: found.if_match, sent: null, refused409: found.status === 409 };
    sayErrors(form, box, found.errors.length ? found.errors : [{ field: '', detail: found.why }], 'The book did not take this one. Mend it and press “Log it”.');
}

let started = false;
export async function startLog(theBook, callbacks) {
    book = theBook;
    told = callbacks;
    deckSelect = becomeSelect(find('#l-deck'));
    stockSelect = becomeSelect(find('#l-stock'));
    becomeSelect(find('#l-setup'));
    find('#l-made').type = 'datetime-local'; // scripts add this place's offset; without them it has to be typed
    find('label[for=l-made] .unit').textContent = 'now, if empty';
    setPlaces ??= placeUnits(find('#l-position'));
    fillDecks(deckSelect, book, deckSelect.value || remembered('deck'));
    fillTapes('', remembered('stock'));
    deckChanged();
    searchField(stockSelect, book, fillTapes);
    if (!started) {
        started = true;
        fresh();
        deckSelect.addEventListener('change', deckChanged);
        form.addEventListener('submit', (event) => { event.preventDefault(); send(); });
        find('#log-clear').addEventListener('click', clear);
        find('#l-add-move').addEventListener('click', () => find('input', addRow('moves', moveFields)).focus());
        find('#l-add-proof').addEventListener('click', () => find('input', addRow('proof', proofFields)).focus());
        addEventListener('hashchange', mend);
        signKeys(form);
        sayReadings(form);
    }
    await mend();
    return { choose: (deckId, stockId) => {
        if (inputOf(form, 'bias').value || inputOf(form, 'low_db').value) return; // somebody is in the middle of an entry
        deckSelect.value = deckId;
        fillTapes('', stockId.startsWith('class:') ? '' : stockId);
        deckChanged();
    } };
}
