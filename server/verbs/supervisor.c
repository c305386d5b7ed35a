/* SPDX-License-Identifier: GPL-3.0-or-later
 * See supervisor.h. */
#include "supervisor.h"

#include "../ground/clock.h"

#include <errno.h>
#include <fcntl.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#define FIRST_SOCKET 3 /* SD_LISTEN_FDS_START */

static bool number_of(const char *name, long long *out)
{
    const char *text = getenv(name);
    char *end;
    if (!text || *text < '0' || *text > '9')
        return false;
    errno = 0;
    *out = strtoll(text, &end, 10);
    return !*end && !errno;
}

/* The variables are for the process they name: a child that inherits them must not take them for its own. */
static bool meant_for_us(const char *name)
{
    long long pid;
    return number_of(name, &pid) && pid == (long long)getpid();
}

bool supervisor_socket(int *fd, struct fault *f)
{
    long long count = 0;
    int listens = 0, kind = 0;
    socklen_t n = sizeof listens;
    *fd = 0;
    bool given = meant_for_us("LISTEN_PID") && number_of("LISTEN_FDS", &count) && count > 0;
    unsetenv("LISTEN_PID");
    unsetenv("LISTEN_FDS");
    unsetenv("LISTEN_FDNAMES");
    if (!given)
        return true;
    if (count > 1)
        return fault_add(f, FAULT_UNACCEPTABLE, "listen", "many-sockets", "%lld sockets were handed over; give one ListenStream", count);
    if (getsockopt(FIRST_SOCKET, SOL_SOCKET, SO_ACCEPTCONN, &listens, &n) != 0 || !listens ||
        (n = sizeof kind, getsockopt(FIRST_SOCKET, SOL_SOCKET, SO_TYPE, &kind, &n)) != 0 || kind != SOCK_STREAM)
        return fault_add(f, FAULT_UNACCEPTABLE, "listen", "not-listening",
                         "what was handed over is no listening stream socket (use ListenStream, Accept=no)");
    int flags = fcntl(FIRST_SOCKET, F_GETFL);
    if (flags < 0 || fcntl(FIRST_SOCKET, F_SETFL, flags | O_NONBLOCK) != 0 || fcntl(FIRST_SOCKET, F_SETFD, FD_CLOEXEC) != 0)
        return fault_add(f, FAULT_STORE, "listen", "cannot-listen", "%s", strerror(errno));
    *fd = FIRST_SOCKET;
    return true;
}

void supervisor_say(const char *text)
{
    struct sockaddr_un to = {.sun_family = AF_UNIX};
    const char *path = getenv("NOTIFY_SOCKET");
    size_t n = path ? strlen(path) : 0;
    if (n < 2 || n >= sizeof to.sun_path || (path[0] != '/' && path[0] != '@'))
        return;
    memcpy(to.sun_path, path, n);
    if (path[0] == '@')
        to.sun_path[0] = '\0'; /* the abstract namespace */
    int fd = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
    if (fd < 0)
        return;
    sendto(fd, text, strlen(text), MSG_NOSIGNAL, (const struct sockaddr *)&to, (socklen_t)(offsetof(struct sockaddr_un, sun_path) + n));
    close(fd);
}

void supervisor_say_reloading(void)
{
    char text[80];
    snprintf(text, sizeof text, "RELOADING=1\nMONOTONIC_USEC=%lld", (long long)clock_monotonic_us());
    supervisor_say(text);
}

int64_t supervisor_watchdog_us(void)
{
    long long us;
    if (getenv("WATCHDOG_PID") && !meant_for_us("WATCHDOG_PID"))
        return 0;
    return number_of("WATCHDOG_USEC", &us) && us > 0 ? us : 0;
}
