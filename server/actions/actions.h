/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Every action the routes table can name; one file a resource. Each takes one decoded request and fills one reply (exchange.h).
 * "inline": answered from memory on the HTTP thread; "write": decoded there, answered by the writer; "worker": SQL or drawing, on a worker.
 */
#ifndef BIASBOOK_ACTIONS_ACTIONS_H
#define BIASBOOK_ACTIONS_ACTIONS_H

#include "exchange.h"

/* health.c */
enum action_result action_livez(struct house *, struct exchange *);        /* inline */
enum action_result action_readyz(struct house *, struct exchange *);       /* worker: touches the database */
enum action_result action_metrics(struct house *, struct exchange *);      /* worker */
enum action_result action_openapi(struct house *, struct exchange *);      /* inline; openapi.c */
enum action_result action_security_txt(struct house *, struct exchange *); /* inline; security_txt.c */
/* catalogue.c: classes, decks, stocks */
enum action_result action_classes(struct house *, struct exchange *);     /* inline */
enum action_result action_deck_get(struct house *, struct exchange *);    /* inline */
enum action_result action_deck_put(struct house *, struct exchange *);    /* write */
enum action_result action_decks_list(struct house *, struct exchange *);  /* worker */
enum action_result action_stock_get(struct house *, struct exchange *);   /* inline */
enum action_result action_stock_put(struct house *, struct exchange *);   /* write */
enum action_result action_stocks_list(struct house *, struct exchange *); /* worker */
/* calibrations.c */
enum action_result action_calibration_get(struct house *, struct exchange *);   /* worker */
enum action_result action_calibration_put(struct house *, struct exchange *);   /* write */
enum action_result action_calibrations_list(struct house *, struct exchange *); /* worker */
enum action_result action_calibration_void(struct house *, struct exchange *);  /* write */
/* services.c: services and checks of a deck */
enum action_result action_services_list(struct house *, struct exchange *); /* worker */
enum action_result action_service_put(struct house *, struct exchange *);   /* write */
enum action_result action_checks_list(struct house *, struct exchange *);   /* worker */
enum action_result action_check_put(struct house *, struct exchange *);     /* write */
/* suggestion.c, next_move.c, model.c, track_record.c */
enum action_result action_suggestion(struct house *, struct exchange *);   /* inline */
enum action_result action_last_result(struct house *, struct exchange *);  /* worker; last_result.c */
enum action_result action_next_move(struct house *, struct exchange *);    /* inline */
enum action_result action_model(struct house *, struct exchange *);        /* inline */
enum action_result action_track_record(struct house *, struct exchange *); /* worker */
/* transfer.c */
enum action_result action_export(struct house *, struct exchange *); /* worker */
enum action_result action_import(struct house *, struct exchange *); /* worker */
/* session.c */
enum action_result action_session(struct house *, struct exchange *); /* inline */
/* sign_in.c: the same for browsers without scripts; inline */
enum action_result action_sign_in(struct house *, struct exchange *);
enum action_result action_sign_out(struct house *, struct exchange *);
enum action_result action_sign_in_first(struct house *, struct exchange *); /* in place of a page that wants a key */
/* members.c, all on workers: they read or wait for the writer */
enum action_result action_members(struct house *, struct exchange *);
enum action_result action_member_put(struct house *, struct exchange *);
enum action_result action_member_keys(struct house *, struct exchange *);
enum action_result action_member_key_add(struct house *, struct exchange *);
enum action_result action_member_key_delete(struct house *, struct exchange *);
enum action_result action_member_key_rotate(struct house *, struct exchange *);
/* history.c: workers; undo then waits for the writer */
enum action_result action_calibration_revisions(struct house *, struct exchange *);
enum action_result action_deck_revisions(struct house *, struct exchange *);
enum action_result action_stock_revisions(struct house *, struct exchange *);
enum action_result action_calibration_undo(struct house *, struct exchange *);
enum action_result action_journal(struct house *, struct exchange *);
/* review.c, coverage.c: workers */
enum action_result action_review(struct house *, struct exchange *);
enum action_result action_review_verdict(struct house *, struct exchange *);
enum action_result action_coverage(struct house *, struct exchange *);
/* log_form.c */
enum action_result action_log_page(struct house *, struct exchange *); /* worker */
enum action_result action_log_form(struct house *, struct exchange *); /* write */
/* statistics.c, alike.c, deck_history.c, hints.c, sheets.c, centre.c, drawings.c */
enum action_result action_stock_statistics(struct house *, struct exchange *);   /* worker */
enum action_result action_stock_alike(struct house *, struct exchange *);        /* worker */
enum action_result action_deck_trend(struct house *, struct exchange *);         /* worker */
enum action_result action_deck_statistics(struct house *, struct exchange *);    /* worker */
enum action_result action_deck_hints(struct house *, struct exchange *);         /* worker */
enum action_result action_stock_sheet(struct house *, struct exchange *);        /* worker */
enum action_result action_deck_sheet(struct house *, struct exchange *);         /* worker */
enum action_result action_deck_centre(struct house *, struct exchange *);        /* worker */
enum action_result action_chart_stock(struct house *, struct exchange *);        /* worker */
enum action_result action_chart_deck(struct house *, struct exchange *);         /* worker */
enum action_result action_chart_track_record(struct house *, struct exchange *); /* worker */

#endif
