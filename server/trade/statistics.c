/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Summaries for the stock page and comparisons before and after a service. Two passes and compensated sums: numbers that
 * differ only in their last digits still get the right deviation.
 */
#include "statistics.h"

#include <math.h>
#include <stdlib.h>

struct compensated {
    double sum, lost; /* Neumaier's variant of Kahan's sum */
};

static void add(struct compensated *c, double x)
{
    double t = c->sum + x;
    c->lost += fabs(c->sum) >= fabs(x) ? (c->sum - t) + x : (x - t) + c->sum;
    c->sum = t;
}

static int rising(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return isfinite(x) && isfinite(y) ? (x > y) - (x < y) : isfinite(y) - isfinite(x);
}

struct summary summary_of(double *x, size_t n)
{
    struct summary s = {0, NAN, NAN, NAN, NAN, NAN};
    struct compensated sum = {0, 0}, squares = {0, 0}, rest = {0, 0};
    if (n) {
        qsort(x, n, sizeof *x, rising);
    }
    while (s.n < n && isfinite(x[s.n])) {
        add(&sum, x[s.n++]);
    }
    if (!s.n) {
        return s;
    }
    double count = (double)s.n, mean = (sum.sum + sum.lost) / count;
    for (size_t i = 0; i < s.n; i++) {
        add(&squares, (x[i] - mean) * (x[i] - mean));
        add(&rest, x[i] - mean);
    }
    double off = rest.sum + rest.lost; /* what rounding of the mean left over */
    s.mean = mean + off / count;
    s.low = x[0];
    s.high = x[s.n - 1];
    s.median = s.n % 2 ? x[s.n / 2] : 0.5 * x[s.n / 2 - 1] + 0.5 * x[s.n / 2];
    if (s.n > 1) {
        s.sd = sqrt(fmax(squares.sum + squares.lost - off * off / count, 0.0) / (count - 1.0));
    }
    return s;
}

double normal_below(double z)
{
    return 0.5 * erfc(-z / sqrt(2.0));
}

double normal_quantile(double p)
{
    static const double a[] = {-3.969683028665376e+01, 2.209460984245205e+02,  -2.759285104469687e+02,
                               1.383577518672690e+02,  -3.066479806614716e+01, 2.506628277459239e+00};
    static const double b[] = {-5.447609879822406e+01, 1.615858368580409e+02, -1.556989798598866e+02, 6.680131188771972e+01,
                               -1.328068155288572e+01};
    static const double c[] = {-7.784894002430293e-03, -3.223964580411365e-01, -2.400758277161838e+00,
                               -2.549732539343734e+00, 4.374664141464968e+00,  2.938163982698783e+00};
    static const double d[] = {7.784695709041462e-03, 3.224671290700398e-01, 2.445134137142996e+00, 3.754408661907416e+00};
    double x, q, r;
    if (!(p > 0.0 && p < 1.0)) {
        return p == 0.0 ? -INFINITY : p == 1.0 ? INFINITY : NAN;
    }
    if (p < 0.02425 || p > 1.0 - 0.02425) {
        q = sqrt(-2.0 * log(fmin(p, 1.0 - p)));
        x = (((((c[0] * q + c[1]) * q + c[2]) * q + c[3]) * q + c[4]) * q + c[5]) / ((((d[0] * q + d[1]) * q + d[2]) * q + d[3]) * q + 1.0);
        x = p < 0.5 ? x : -x;
    } else {
        q = p - 0.5;
        r = q * q;
        x = (((((a[0] * r + a[1]) * r + a[2]) * r + a[3]) * r + a[4]) * r + a[5]) * q /
            (((((b[0] * r + b[1]) * r + b[2]) * r + b[3]) * r + b[4]) * r + 1.0);
    }
    double e = normal_below(x) - p, u = e * sqrt(2.0 * 3.14159265358979323846) * exp(0.5 * x * x);
    return x - u / (1.0 + 0.5 * x * u);
}

double student_quantile(double p, double freedom)
{
    const double pi = 3.14159265358979323846;
    if (!(p > 0.0 && p < 1.0) || !(freedom >= 1.0)) {
        return NAN;
    }
    double n = freedom, two = 2.0 * fmin(p, 1.0 - p), sign = p < 0.5 ? -1.0 : 1.0; /* two: both tails */
    if (n == 1.0) {
        return sign / tan(0.5 * pi * two);
    }
    if (n == 2.0) {
        return sign * sqrt(fmax(2.0 / (two * (2.0 - two)) - 2.0, 0.0));
    }
    double a = 1.0 / (n - 0.5), b = 48.0 / (a * a), c = ((20700.0 * a / b - 98.0) * a - 16.0) * a + 96.36;
    double d = ((94.5 / (b + c) - 3.0) / b + 1.0) * sqrt(a * pi / 2.0) * n, y = pow(d * two, 2.0 / n);
    if (y > 0.05 + a) {
        double x = normal_quantile(two * 0.5);
        y = x * x;
        if (n < 5.0) {
            c += 0.3 * (n - 4.5) * (x + 0.6);
        }
        c = (((0.05 * d * x - 5.0) * x - 7.0) * x - 2.0) * x + b + c;
        y = (((((0.4 * y + 6.3) * y + 36.0) * y + 94.5) / c - y - 3.0) / b + 1.0) * x;
        y = expm1(a * y * y);
    } else {
        y = ((1.0 / (((n + 6.0) / (n * y) - 0.089 * d - 0.822) * (n + 2.0) * 3.0) + 0.5 / (n + 4.0)) * y - 1.0) * (n + 1.0) / (n + 2.0) +
            1.0 / y;
    }
    return sign * sqrt(n * y);
}

struct difference difference_of(const struct summary *before, const struct summary *after, double part)
{
    struct difference d = {NAN, NAN, NAN, NAN, NAN};
    if (before->n < 2 || after->n < 2) {
        return d;
    }
    double v = before->sd * before->sd / (double)before->n, w = after->sd * after->sd / (double)after->n;
    d.mean = after->mean - before->mean;
    d.se = sqrt(v + w);
    d.freedom = v + w > 0.0 ? (v + w) * (v + w) / (v * v / (double)(before->n - 1) + w * w / (double)(after->n - 1))
                            : (double)(before->n + after->n - 2);
    double t = student_quantile(0.5 + 0.5 * part, fmax(d.freedom, 1.0));
    d.low = d.mean - t * d.se;
    d.high = d.mean + t * d.se;
    return d;
}
