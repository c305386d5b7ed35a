# SPDX-License-Identifier: GPL-3.0-or-later
#
# Makes the seeded tables beside it and what an independent implementation says of them: Rscript reference.R, in this folder.
# Only to make them anew; the tests read the committed files and need no R.
#
# Committed results were made with R 4.2.2, lme4 1.1-31, Matrix 1.5-3 (Debian 12's r-base-core, r-cran-lme4, r-cran-matrix).
#
#   NAME.csv      the table to fit
#   NAME-new.csv  rows to predict, some with levels the fit has not seen
#   results.txt   a line each:  case NAME RESPONSE GROUPS FIXED WEIGHT INTERCEPT ("-" = none)
#                               criterion X | sigma X | sd GROUP X | fixed NAME ESTIMATE SE | predict MEAN SE
#
# The package's predict() gives no standard error with random effects. Here it is the square root of z'Cz with C the joint covariance of fixed
# effects and random effects' prediction errors (the inverse of the mixed model equations, Henderson 1975) at the fitted variances, plus
# the group's variance for each level not in the fit.
suppressMessages(library(lme4))
RNGkind("Mersenne-Twister", "Inversion", "Rejection")
options(digits = 15)
out <- file("results.txt", "w")
say <- function(...) cat(..., "\n", sep = " ", file = out)
number <- function(x) formatC(x, digits = 15, format = "g")

standard_errors <- function(m, X, levels_of, new) {
  Z <- as.matrix(getME(m, "Z")); L <- as.matrix(getME(m, "Lambda")); s2 <- sigma(m)^2
  W <- diag(weights(m)); XX <- getME(m, "X"); q <- ncol(Z); p <- ncol(XX)
  ZL <- Z %*% L
  M <- rbind(cbind(t(ZL) %*% W %*% ZL + diag(q), t(ZL) %*% W %*% XX), cbind(t(XX) %*% W %*% ZL, t(XX) %*% W %*% XX))
  C <- s2 * solve(M)
  flist <- getME(m, "flist"); Gp <- getME(m, "Gp"); cnms <- names(getME(m, "cnms"))
  vc <- as.data.frame(VarCorr(m))
  b <- as.vector(getME(m, "b")); beta <- fixef(m)
  t(sapply(seq_len(nrow(new)), function(i) {
    z <- numeric(q); unseen <- 0
    for (g in seq_along(cnms)) {
      at <- match(levels_of(new[i, , drop = FALSE], cnms[g]), levels(flist[[cnms[g]]]))
      if (is.na(at)) unseen <- unseen + vc$vcov[vc$grp == cnms[g]] else z[Gp[g] + at] <- 1
    }
    mean <- sum(z * b) + sum(X[i, ] * beta)
    v <- c(t(L) %*% z, X[i, ])
    c(mean, sqrt(sum(v * (C %*% v)) + unseen))
  }))
}

case <- function(name, data, new, groups, fixed = character(0), weight = NULL, intercept = TRUE) {
  data$y <- round(data$y, 4)
  for (c in fixed) { data[[c]] <- round(data[[c]], 4); new[[c]] <- round(new[[c]], 4) }
  write.csv(data, paste0(name, ".csv"), row.names = FALSE, quote = FALSE)
  write.csv(new, paste0(name, "-new.csv"), row.names = FALSE, quote = FALSE)
  formula <- as.formula(paste("y ~", paste(c(if (intercept) "1" else "0", fixed, paste0("(1|", groups, ")")), collapse = " + ")))
  control <- lmerControl(optimizer = "nloptwrap", calc.derivs = FALSE, check.conv.singular = "ignore",
                         optCtrl = list(xtol_abs = 1e-11, ftol_abs = 1e-13, maxeval = 20000))
  data$w_ <- if (is.null(weight)) 1 else data[[weight]]
  m <- lmer(formula, data, REML = TRUE, control = control, weights = w_)
  list_of <- function(x) if (length(x)) paste(x, collapse = ",") else "-"
  say("case", name, "y", list_of(groups), list_of(fixed), if (is.null(weight)) "-" else weight, as.integer(intercept))
  say("criterion", number(REMLcrit(m)))
  say("sigma", number(sigma(m)))
  vc <- as.data.frame(VarCorr(m))
  for (g in groups) say("sd", g, number(vc$sdcor[vc$grp == g]))
  se <- sqrt(diag(as.matrix(vcov(m))))
  for (j in seq_along(fixef(m))) {
    n <- names(fixef(m))[j]
    say("fixed", if (n == "(Intercept)") "(intercept)" else n, number(fixef(m)[j]), number(se[j]))
  }
  X <- cbind(if (intercept) rep(1, nrow(new)), if (length(fixed)) as.matrix(new[, fixed, drop = FALSE]))
  levels_of <- function(row, group) paste(unlist(lapply(strsplit(group, ":")[[1]], function(c) as.character(row[[c]]))), collapse = ":")
  p <- standard_errors(m, X, levels_of, new)
  for (i in seq_len(nrow(p))) say("predict", number(p[i, 1]), number(p[i, 2]))
}

pick <- function(levels, n) sample(levels, n, replace = TRUE)
effect <- function(x, sd) { f <- factor(x); rnorm(nlevels(f), 0, sd)[as.integer(f)] }

# nested: casks within batches, unbalanced, the same cask letters in every batch
set.seed(101)
d <- data.frame(batch = paste0("b", pick(1:14, 160)), cask = pick(c("p", "q", "r", "s"), 160))
d$y <- 60 + effect(d$batch, 1.3) + effect(paste(d$batch, d$cask), 0.8) + rnorm(160, 0, 0.6)
n <- data.frame(batch = c("b1", "b2", "b1", "b99", "b5"), cask = c("p", "q", "z", "p", "s"))
case("nested", d, n, c("batch", "batch:cask"))

# crossed, with holes, and the cell of both beside them
set.seed(102)
d <- data.frame(deck = paste0("d", pick(1:15, 300)), tape = paste0("t", pick(1:22, 300)))
d$y <- 0.4 + effect(d$deck, 0.7) + effect(d$tape, 0.9) + effect(paste(d$deck, d$tape), 0.3) + rnorm(300, 0, 0.35)
n <- data.frame(deck = c("d1", "d2", "d99", "d3", "d99"), tape = c("t1", "t22", "t4", "t99", "t99"))
case("crossed", d, n, c("deck", "tape", "deck:tape"))

# weighted: residual variance sigma^2/w
set.seed(103)
d <- data.frame(plate = paste0("p", pick(1:20, 180)), sample = paste0("s", pick(1:6, 180)), w = sample(c(0.25, 0.5, 1, 2, 4, 8), 180, TRUE))
d$y <- 23 + effect(d$plate, 0.8) + effect(d$sample, 1.9) + rnorm(180, 0, 0.7) / sqrt(d$w)
n <- data.frame(plate = c("p1", "p7", "new"), sample = c("s1", "s6", "s2"), w = 1)
case("weighted", d, n, c("plate", "sample"), weight = "w")

# covariates far from zero and of very different size, weights too
set.seed(104)
d <- data.frame(deck = paste0("d", pick(1:18, 220)), year = 1990 + runif(220, 0, 30), passes = sample(0:12, 220, TRUE), gain = rnorm(220, 0, 1e-3),
                w = round(runif(220, 0.4, 3), 2))
d$passes <- log2(1 + d$passes); d$gain <- d$gain * 1000
d$y <- -80 + 0.04 * d$year - 0.2 * d$passes + 0.5 * d$gain + effect(d$deck, 0.6) + rnorm(220, 0, 0.5) / sqrt(d$w)
n <- data.frame(deck = c("d1", "d9", "d77"), year = c(1995, 2020, 2030), passes = c(0, 3, 1), gain = c(0.1, -2, 0), w = 1)
case("covariate", d, n, "deck", fixed = c("year", "passes", "gain"), weight = "w")

# no intercept: a line through the origin for each
set.seed(105)
d <- data.frame(stock = paste0("k", pick(1:9, 90)), x = runif(90, -1, 2))
d$y <- 1.7 * d$x + effect(d$stock, 0.5) + rnorm(90, 0, 0.4)
n <- data.frame(stock = c("k1", "k2", "k0"), x = c(0, 1.5, -1))
case("origin", d, n, "stock", fixed = "x", intercept = FALSE)

# a variance of nought beside one that is not
set.seed(106)
d <- data.frame(day = paste0("y", pick(1:12, 120)), deck = paste0("d", pick(1:10, 120)))
d$y <- 5 + effect(d$deck, 1) + rnorm(120, 0, 0.5)
d$y <- d$y - ave(d$y - ave(d$y, d$deck), d$day) # the days' means are made alike
n <- data.frame(day = c("y1", "y99"), deck = c("d1", "d2"))
case("nought", d, n, c("day", "deck"))

# many small nested groups: the equations are factored sparse
set.seed(107)
d <- data.frame(club = paste0("c", pick(1:200, 900)), line = pick(letters[1:3], 900), maker = paste0("m", pick(1:25, 900)))
d$y <- effect(d$club, 0.9) + effect(paste(d$club, d$line), 0.5) + effect(d$maker, 0.4) + rnorm(900, 0, 0.3)
n <- data.frame(club = c("c1", "c2", "c3", "c999"), line = c("a", "b", "zz", "a"), maker = c("m1", "m2", "m3", "m99"))
case("sparse", d, n, c("club", "club:line", "maker"))
close(out)
