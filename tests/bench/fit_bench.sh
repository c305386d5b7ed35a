#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
#
# The estimator beside the reference package on a public table of 73,421 ratings with two crossed effects of 2,972 and 1,128 levels (InstEval of the R
# package lme4), in one run, one thread each, turn about: time and agreement.
#   fit_bench.sh BIASBOOK
set -eu
biasbook=$1
command -v Rscript >/dev/null 2>&1 && Rscript --vanilla -e 'quit(status = !requireNamespace("lme4", quietly = TRUE))' >/dev/null 2>&1 || {
    echo "reference   left out: R with its package lme4 is not here (r-cran-lme4)"
    exit 0
}
folder=$(mktemp -d); trap 'rm -rf "$folder"' EXIT
export OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=1
Rscript --vanilla - "$folder" "$biasbook" <<'R'
suppressMessages(library(lme4))
arg <- commandArgs(TRUE)
csv <- file.path(arg[1], "ratings.csv")
write.csv(data.frame(rating = InstEval$y, student = InstEval$s, teacher = InstEval$d), csv, row.names = FALSE, quote = FALSE)
number <- function(text, name) as.numeric(regmatches(text, regexec(paste0('"', name, '":([-0-9.e+]+)'), text))[[1]][2])
sds <- function(text) as.numeric(sub('.*:', '', regmatches(text, gregexpr('"sd":[-0-9.e+]+', text))[[1]]))
theirs <- ours <- whole <- numeric(0)
for (turn in 1:3) {
  theirs[turn] <- system.time(m <- lmer(y ~ 1 + (1 | s) + (1 | d), InstEval, REML = TRUE))["elapsed"]
  whole[turn] <- system.time(text <- paste(system2(arg[2], c("fit", "--csv", csv, "--response", "rating", "--group", "student,teacher", "--flat"), stdout = TRUE),
                                           collapse = ""))["elapsed"]
  ours[turn] <- number(text, "seconds")
}
v <- as.data.frame(VarCorr(m))$sdcor
cat(sprintf("flat fit    73421 ratings, 4,100 crossed effects: reference %.2f s, here %.3f s (with reading the file %.3f s)  ratio %.1f (bar 5)  %s\n", median(theirs),
            median(ours), median(whole), median(theirs) / median(ours), if (median(theirs) / median(ours) >= 5) "reached" else "MISSED"))
apart <- max(abs(c(sds(text), number(text, "sigma")) - v))
criterion <- abs(number(text, "criterion") - REMLcrit(m))
cat(sprintf("agreement   sd within %.1e (bar 5e-4), criterion %.3f and %.3f: within %.1e (bar 2e-3)  %s\n", apart, number(text, "criterion"), REMLcrit(m), criterion,
            if (apart <= 5e-4 && criterion <= 2e-3) "reached" else "MISSED"))
R
