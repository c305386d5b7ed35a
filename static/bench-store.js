// SPDX-License-Identifier: GPL-3.0-or-later
// The tape on the bench: one plain object, kept on the device after each step, so that a closed lid or a dead battery loses nothing.
// Pure but for keeping: no elements here.
import { deckOf, tapeQuery } from './book.js';
import { remember, remembered } from './kept.js';
import { newUuid, timestamp } from './numbers.js';

// What stays for the next tape on the same deck, and what belongs to one tape.
const DECK_PART = ['deck', 'setup', 'channel', 'for_noise_reduction', 'low_hz', 'high_hz', 'deck_checks', 'one_by_one'];

export function newBench(from = {}) {
    const kept = Object.fromEntries(DECK_PART.filter((name) => from[name] !== undefined).map((name) => [name, from[name]]));
    return { step: 'choose', deck: null, setup: '', channel: '', deck_checks: [], tape_checks: [], stock: null, moves: [], ladder: null, target: null, ...kept, id: newUuid() };
}

export const loadBench = () => remembered('bench') ?? newBench({ deck: remembered('deck') });
export const saveBench = (bench) => remember('bench', bench);

export function about(bench) {
    const { setup, channel, low_hz, high_hz } = bench;
    return Object.fromEntries(Object.entries({ deck: bench.deck, ...tapeQuery(bench.stock), setup, channel, low_hz, high_hz }).filter(([, value]) => value !== '' && value !== null && value !== undefined));
}

// The question for the start setting.
export function startQuery(bench, taste) {
    const query = about(bench);
    for (const name of ['batch', 'tape', 'recordings']) if (bench[name] !== undefined && bench[name] !== '') query[name] = bench[name];
    if (bench.place) query[bench.place.name] = bench.place.value;
    if (taste) query.treble_db = taste;
    if (bench.for_noise_reduction) query.for_noise_reduction = true;
    return query;
}

// The body for the next move: all readings of this tape so far, in order.
export function moveQuestion(bench, taste, plan) {
    return { ...about(bench), treble_db: taste, ...(bench.for_noise_reduction && { for_noise_reduction: true }), moves: bench.moves, plan };
}

export const same = (a, b) => Math.abs((a ?? 0) - (b ?? 0)) < 1e-9;
export const sameSetting = (a, b) => same(a.bias, b.bias) && same(a.level, b.level);

// The setting the tape is left at: where the book says it sits, else the last one read; with the readings taken there, if any.
export function asLeft(bench) {
    const last = bench.moves.at(-1);
    const left = bench.settled_at ?? (last && { bias: last.bias, level: last.level });
    const read = left && [...bench.moves].reverse().find((move) => sameSetting(move, left));
    return { ...left, low_db: read?.low_db, high_db: read?.high_db };
}

// The calibration as the API takes it. `extra` is what the last form adds (proof, balance, notes …).
export function toCalibration(bench, book, taste, extra) {
    const deck = deckOf(book, bench.deck);
    const body = { deck: bench.deck, stock: bench.stock, made_at: bench.made_at ?? timestamp(), ...extra };
    for (const name of ['setup', 'channel', 'side', 'batch', 'tape', 'recordings', 'low_hz', 'high_hz'])
        if (bench[name] !== undefined && bench[name] !== '' && bench[name] !== null) body[name] = bench[name];
    if (bench.place) body[bench.place.name] = bench.place.value;
    if (bench.for_noise_reduction) body.for_noise_reduction = true;
    if (taste) body.treble_db = taste;
    const left = asLeft(bench);
    if (deck.bias_dial) body.bias = left.bias;
    if (deck.level_dial) body.level = left.level;
    if (left.low_db !== undefined && left.high_db !== undefined) Object.assign(body, { low_db: left.low_db, high_db: left.high_db });
    if (bench.moves.length) body.moves = bench.moves;
    return body;
}
