/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Everything the daemon answers, in one screen. To add an endpoint: one row here, one function in actions/.
 */
#include "routes.h"

#include "../actions/actions.h"

#define READ    METHOD_GET
#define RECORD  BODY_RECORD, 0, NULL
#define NOTHING BODY_NONE, 0, NULL
#define FORM    BODY_FORM, 0, NULL

const struct route biasbook_routes[] = {
    /* path, methods, role, flags, where it runs, action, body, its largest size, its types */
    {"/livez", READ, ROLE_NONE, 0, RUN_INLINE, action_livez, NOTHING},
    {"/readyz", READ, ROLE_NONE, 0, RUN_WORKER, action_readyz, NOTHING},
    {"/api/suggestion", READ, ROLE_READER, 0, RUN_INLINE, action_suggestion, NOTHING},
    {"/api/last-result", READ, ROLE_READER, 0, RUN_WORKER, action_last_result, NOTHING},
    {"/api/next-move", METHOD_POST, ROLE_READER, ROUTE_BARE, RUN_INLINE, action_next_move, RECORD},
    {"/api/calibrations/{uuid}", READ, ROLE_READER, ROUTE_BARE, RUN_WORKER, action_calibration_get, NOTHING},
    {"/api/calibrations/{uuid}", METHOD_PUT, ROLE_LOGGER, ROUTE_BARE, RUN_WRITE, action_calibration_put, RECORD},
    {"/api/calibrations/{uuid}/void", METHOD_POST, ROLE_LOGGER, ROUTE_BARE, RUN_WRITE, action_calibration_void, RECORD},
    {"/api/calibrations/{uuid}/undo", METHOD_POST, ROLE_LOGGER, 0, RUN_WORKER, action_calibration_undo, NOTHING},
    {"/api/calibrations/{uuid}/revisions", READ, ROLE_READER, 0, RUN_WORKER, action_calibration_revisions, NOTHING},
    {"/api/calibrations", READ, ROLE_READER, 0, RUN_WORKER, action_calibrations_list, NOTHING},
    {"/api/decks/{id}", READ, ROLE_READER, ROUTE_BARE, RUN_INLINE, action_deck_get, NOTHING},
    {"/api/decks/{id}", METHOD_PUT, ROLE_LOGGER, ROUTE_BARE, RUN_WRITE, action_deck_put, RECORD},
    {"/api/decks", READ, ROLE_READER, 0, RUN_WORKER, action_decks_list, NOTHING},
    {"/api/decks/{id}/services/{uuid}", METHOD_PUT, ROLE_LOGGER, ROUTE_BARE, RUN_WRITE, action_service_put, RECORD},
    {"/api/decks/{id}/services", READ, ROLE_READER, ROUTE_BARE, RUN_WORKER, action_services_list, NOTHING},
    {"/api/decks/{id}/checks/{uuid}", METHOD_PUT, ROLE_LOGGER, ROUTE_BARE, RUN_WRITE, action_check_put, RECORD},
    {"/api/decks/{id}/checks", READ, ROLE_READER, ROUTE_BARE, RUN_WORKER, action_checks_list, NOTHING},
    {"/api/decks/{id}/revisions", READ, ROLE_READER, 0, RUN_WORKER, action_deck_revisions, NOTHING},
    {"/api/decks/{id}/trend", READ, ROLE_READER, 0, RUN_WORKER, action_deck_trend, NOTHING},
    {"/api/decks/{id}/statistics", READ, ROLE_READER, 0, RUN_WORKER, action_deck_statistics, NOTHING},
    {"/api/decks/{id}/hints", READ, ROLE_READER, 0, RUN_WORKER, action_deck_hints, NOTHING},
    {"/api/decks/{id}/sheet", READ, ROLE_READER, 0, RUN_WORKER, action_deck_sheet, NOTHING},
    {"/api/decks/{id}/centre", READ, ROLE_READER, 0, RUN_WORKER, action_deck_centre, NOTHING},
    {"/api/stocks/{id}", READ, ROLE_READER, ROUTE_BARE, RUN_INLINE, action_stock_get, NOTHING},
    {"/api/stocks/{id}", METHOD_PUT, ROLE_LOGGER, ROUTE_BARE, RUN_WRITE, action_stock_put, RECORD},
    {"/api/stocks", READ, ROLE_READER, 0, RUN_WORKER, action_stocks_list, NOTHING},
    {"/api/stocks/{id}/revisions", READ, ROLE_READER, 0, RUN_WORKER, action_stock_revisions, NOTHING},
    {"/api/stocks/{id}/statistics", READ, ROLE_READER, 0, RUN_WORKER, action_stock_statistics, NOTHING},
    {"/api/stocks/{id}/sheet", READ, ROLE_READER, 0, RUN_WORKER, action_stock_sheet, NOTHING},
    {"/api/stocks/{id}/alike", READ, ROLE_READER, 0, RUN_WORKER, action_stock_alike, NOTHING},
    {"/api/classes", READ, ROLE_READER, ROUTE_BARE, RUN_INLINE, action_classes, NOTHING},
    {"/api/model", READ, ROLE_READER, ROUTE_BARE, RUN_INLINE, action_model, NOTHING},
    {"/api/track-record", READ, ROLE_READER, 0, RUN_WORKER, action_track_record, NOTHING},
    {"/api/export", READ, ROLE_READER, ROUTE_PRIVATE, RUN_WORKER, action_export, NOTHING},
    {"/api/import", METHOD_POST, ROLE_STEWARD, 0, RUN_WORKER, action_import, BODY_SPOOL, 0, NULL},
    {"/api/session", READ | METHOD_DELETE, ROLE_NONE, ROUTE_WHO | ROUTE_BARE, RUN_INLINE, action_session, NOTHING},
    {"/api/session", METHOD_POST, ROLE_NONE, ROUTE_WHO | ROUTE_BARE, RUN_INLINE, action_session, RECORD},
    {"/api/journal", READ, ROLE_STEWARD, 0, RUN_WORKER, action_journal, NOTHING},
    {"/api/review", READ, ROLE_READER, 0, RUN_WORKER, action_review, NOTHING},
    {"/api/review/{uuid}", METHOD_POST, ROLE_STEWARD, ROUTE_BARE, RUN_WORKER, action_review_verdict, RECORD},
    {"/api/coverage", READ, ROLE_READER, 0, RUN_WORKER, action_coverage, NOTHING},
    {"/api/members", READ, ROLE_STEWARD, ROUTE_PRIVATE, RUN_WORKER, action_members, NOTHING},
    {"/api/members", METHOD_POST, ROLE_STEWARD, ROUTE_BARE, RUN_WORKER, action_members, RECORD},
    {"/api/members/{id}", METHOD_PUT, ROLE_STEWARD, ROUTE_BARE, RUN_WORKER, action_member_put, RECORD},
    {"/api/members/{id}/keys", READ, ROLE_READER, ROUTE_PRIVATE, RUN_WORKER, action_member_keys, NOTHING},
    {"/api/members/{id}/keys", METHOD_POST, ROLE_STEWARD, ROUTE_BARE, RUN_WORKER, action_member_key_add, RECORD},
    {"/api/members/{id}/keys/{key}", METHOD_DELETE, ROLE_READER, 0, RUN_WORKER, action_member_key_delete, NOTHING},
    {"/api/members/{id}/keys/{key}/rotate", METHOD_POST, ROLE_READER, 0, RUN_WORKER, action_member_key_rotate, NOTHING},
    {"/charts/stocks/{id}.svg", READ, ROLE_READER, 0, RUN_WORKER, action_chart_stock, NOTHING},
    {"/charts/decks/{id}.svg", READ, ROLE_READER, 0, RUN_WORKER, action_chart_deck, NOTHING},
    {"/charts/track-record.svg", READ, ROLE_READER, 0, RUN_WORKER, action_chart_track_record, NOTHING},
    {"/log", READ, ROLE_READER, ROUTE_PAGE, RUN_WORKER, action_log_page, NOTHING},
    {"/log", METHOD_POST, ROLE_LOGGER, ROUTE_PAGE, RUN_WRITE, action_log_form, FORM},
    {"/sign-in", READ, ROLE_NONE, ROUTE_WHO | ROUTE_PAGE, RUN_INLINE, action_sign_in, NOTHING},
    {"/sign-in", METHOD_POST, ROLE_NONE, ROUTE_WHO | ROUTE_PAGE, RUN_INLINE, action_sign_in, BODY_FORM, LIMIT_BODY_RECORD, NULL},
    {"/sign-out", METHOD_POST, ROLE_NONE, ROUTE_WHO | ROUTE_PAGE, RUN_INLINE, action_sign_out, FORM},
    {"/metrics", READ, ROLE_READER, 0, RUN_WORKER, action_metrics, NOTHING},
    {"/openapi.json", READ, ROLE_READER, 0, RUN_INLINE, action_openapi, NOTHING},
    {"/.well-known/security.txt", READ, ROLE_NONE, 0, RUN_INLINE, action_security_txt, NOTHING},
    {NULL, 0, ROLE_NONE, 0, RUN_INLINE, NULL, NOTHING},
};

const struct route route_sign_in_first[2] = {
    {"/sign-in", READ, ROLE_NONE, ROUTE_PAGE, RUN_INLINE, action_sign_in_first, NOTHING},
    {"/sign-in", METHOD_POST, ROLE_NONE, ROUTE_PAGE, RUN_INLINE, action_sign_in_first, FORM},
};
