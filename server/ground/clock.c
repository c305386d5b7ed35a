/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * RFC 3339 to and from microseconds, by the civil-calendar arithmetic of the proleptic Gregorian calendar (400-year eras of 146,097
 * days, years that begin in March), without the C library's time zones.
 */
#include "clock.h"

#include <stdio.h>
#include <time.h>

#define SECOND     1000000LL
#define DAY        (86400LL * SECOND)
#define YEAR_FIRST 1900
#define YEAR_LAST  9999

static int64_t read_clock(clockid_t id)
{
    struct timespec t;
    clock_gettime(id, &t);
    return (int64_t)t.tv_sec * SECOND + t.tv_nsec / 1000;
}

int64_t clock_now_us(void)
{
    return read_clock(CLOCK_REALTIME);
}

int64_t clock_monotonic_us(void)
{
    return read_clock(CLOCK_MONOTONIC);
}

/* Days since 1970-01-01. */
static int64_t days_from_date(int year, int month, int day)
{
    int64_t y = year - (month <= 2);
    int64_t era = (y >= 0 ? y : y - 399) / 400;
    int64_t year_of_era = y - era * 400;
    int64_t day_of_year = (153 * (month + (month > 2 ? -3 : 9)) + 2) / 5 + day - 1;
    return era * 146097 + year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year - 719468;
}

static void date_from_days(int64_t days, int *year, int *month, int *day)
{
    days += 719468;
    int64_t era = (days >= 0 ? days : days - 146096) / 146097;
    int64_t doe = days - era * 146097;
    int64_t yoe = (doe - doe / 1460 + doe / 36524 - doe / 146096) / 365;
    int64_t doy = doe - (365 * yoe + yoe / 4 - yoe / 100);
    int64_t mp = (5 * doy + 2) / 153;
    *day = (int)(doy - (153 * mp + 2) / 5 + 1);
    *month = (int)(mp < 10 ? mp + 3 : mp - 9);
    *year = (int)(yoe + era * 400 + (*month <= 2));
}

static int days_in_month(int year, int month)
{
    static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    return days[month - 1] + (month == 2 && leap);
}

/* ---- reading: a cursor over the text that fails for good at the first character out of place ---- */
struct scan {
    const char *at, *end;
    bool good;
};

static int number(struct scan *s, int width)
{
    int value = 0;
    for (int i = 0; i < width; i++) {
        if (s->at == s->end || *s->at < '0' || *s->at > '9') {
            s->good = false;
            return 0;
        }
        value = value * 10 + (*s->at++ - '0');
    }
    return value;
}

static char one_of(struct scan *s, const char *set)
{
    if (s->at != s->end)
        for (; *set; set++)
            if (*s->at == *set) {
                s->at++;
                return *set;
            }
    s->good = false;
    return '\0';
}

/* Digits past the sixth are cut, not rounded: an instant never moves into the next second. */
static int64_t fraction_us(struct scan *s)
{
    if (s->at == s->end || *s->at != '.')
        return 0;
    s->at++;
    int64_t us = 0, worth = SECOND / 10;
    const char *first = s->at;
    for (; s->at != s->end && *s->at >= '0' && *s->at <= '9'; s->at++, worth /= 10)
        us += (*s->at - '0') * worth;
    if (s->at == first)
        s->good = false;
    return us;
}

static int offset(struct scan *s)
{
    char sign = one_of(s, "Zz+-");
    if (sign != '+' && sign != '-')
        return 0;
    int hours = number(s, 2);
    one_of(s, ":");
    int minutes = number(s, 2);
    if (hours > 23 || minutes > 59)
        s->good = false;
    return (sign == '-' ? -1 : 1) * (hours * 60 + minutes);
}

bool clock_parse(const char *text, size_t n, int64_t *us, int *offset_minutes)
{
    struct scan s = {text, text + n, true};
    int year = number(&s, 4);
    one_of(&s, "-");
    int month = number(&s, 2);
    one_of(&s, "-");
    int day = number(&s, 2);
    one_of(&s, "Tt ");
    int hour = number(&s, 2);
    one_of(&s, ":");
    int minute = number(&s, 2);
    one_of(&s, ":");
    int second = number(&s, 2);
    int64_t fraction = fraction_us(&s);
    int ahead = offset(&s);
    if (!s.good || s.at != s.end || month < 1 || month > 12 || day < 1 || day > days_in_month(year, month) || hour > 23 || minute > 59 ||
        second > 60)
        return false;
    if (second == 60) { /* a leap second */
        second = 59;
        fraction = SECOND - 1;
    }
    int64_t at = days_from_date(year, month, day) * DAY + ((hour * 60 + minute - ahead) * 60LL + second) * SECOND + fraction;
    if (at < days_from_date(YEAR_FIRST, 1, 1) * DAY || at >= days_from_date(YEAR_LAST + 1, 1, 1) * DAY)
        return false;
    *us = at;
    if (offset_minutes)
        *offset_minutes = ahead;
    return true;
}

/* Splits into whole days and the rest, also before 1970. */
static int64_t floor_days(int64_t us, int64_t *rest)
{
    int64_t days = us / DAY;
    *rest = us % DAY;
    if (*rest < 0) {
        *rest += DAY;
        days--;
    }
    return days;
}

char *clock_format(int64_t us, int offset_minutes, char out[CLOCK_TEXT])
{
    out[0] = '\0';
    if (us == CLOCK_NONE)
        return out;
    int64_t rest;
    int year, month, day;
    date_from_days(floor_days(us + offset_minutes * 60LL * SECOND, &rest), &year, &month, &day);
    int seconds = (int)(rest / SECOND), fraction = (int)(rest % SECOND);
    int n = snprintf(out, CLOCK_TEXT, "%04d-%02d-%02dT%02d:%02d:%02d", year, month, day, seconds / 3600, seconds / 60 % 60, seconds % 60);
    if (fraction) {
        n += snprintf(out + n, CLOCK_TEXT - (size_t)n, ".%06d", fraction);
        while (out[n - 1] == '0')
            out[--n] = '\0';
    }
    if (offset_minutes == 0) {
        out[n++] = 'Z';
        out[n] = '\0';
    } else {
        int size = offset_minutes < 0 ? -offset_minutes : offset_minutes;
        snprintf(out + n, CLOCK_TEXT - (size_t)n, "%c%02d:%02d", offset_minutes < 0 ? '-' : '+', size / 60, size % 60);
    }
    return out;
}

char *clock_format_date(int64_t us, char out[CLOCK_TEXT])
{
    out[0] = '\0';
    if (us == CLOCK_NONE)
        return out;
    int64_t rest;
    int year, month, day;
    date_from_days(floor_days(us, &rest), &year, &month, &day);
    snprintf(out, CLOCK_TEXT, "%04d-%02d-%02d", year, month, day);
    return out;
}

double clock_years_between(int64_t from_us, int64_t to_us)
{
    return (double)(to_us - from_us) / (365.25 * (double)DAY);
}
