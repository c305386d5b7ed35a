// SPDX-License-Identifier: GPL-3.0-or-later
// The book's lists (decks, stocks, classes), read once a page and kept on the device for when there is no signal.
import { get, NoSignal } from './api.js';
import { keep, kept } from './kept.js';

// Every page of a list. `next` is followed by its query alone, because the daemon does not know a proxy's sub-path.
async function whole(name) {
    const rows = [];
    for (let search = ''; search !== null;) {
        const page = await get(`api/${name}${search}`);
        rows.push(...page[name]);
        search = page.next ? new URL(page.next, location.href).search : null;
    }
    return rows;
}

// { decks, stocks, classes, kept_at }: kept_at is null when fresh, else when the lists were read.
export async function loadBook() {
    try {
        const [decks, stocks, classes] = await Promise.all([whole('decks'), whole('stocks'), whole('classes')]);
        const byName = (a, b) => a.name.localeCompare(b.name);
        const book = { decks: decks.sort(byName), stocks: stocks.sort(byName), classes };
        await keep('kept', 'book', { ...book, read_at: Date.now() });
        return { ...book, kept_at: null };
    } catch (error) {
        const last = error instanceof NoSignal ? await kept('kept', 'book') : null;
        if (!last) throw error;
        return { ...last, kept_at: last.read_at };
    }
}

export const deckOf = (book, id) => book.decks.find((deck) => deck.id === id) ?? null;
export const stockOf = (book, id) => book.stocks.find((stock) => stock.id === id) ?? null;
export const className = (book, id) => book.classes.find((entry) => entry.id === id)?.name ?? id;

// 'class:type-2' stands for a tape that nobody has logged; anything else is a stock's id.
export function tapeQuery(choice) {
    return choice.startsWith('class:') ? { class: choice.slice(6) } : { stock: choice };
}

export function tapeName(book, choice) {
    return choice.startsWith('class:') ? `a ${className(book, choice.slice(6))} tape not in the book` : stockOf(book, choice)?.name ?? choice;
}

// The last suggestions, newest first, so that the same question can be answered without signal.
const SUGGESTIONS_KEPT = 30;

export async function suggestion(query) {
    const name = new URLSearchParams(Object.entries(query).filter(([, value]) => value !== null && value !== '')).toString();
    const list = (await kept('kept', 'suggestions')) ?? [];
    try {
        const answer = await get('api/suggestion', query);
        const rest = list.filter((entry) => entry.name !== name).slice(0, SUGGESTIONS_KEPT - 1);
        await keep('kept', 'suggestions', [{ name, answer, read_at: Date.now() }, ...rest]);
        return { answer, kept_at: null };
    } catch (error) {
        const last = error instanceof NoSignal ? list.find((entry) => entry.name === name) : null;
        if (!last) throw error;
        return { answer: last.answer, kept_at: last.read_at };
    }
}
