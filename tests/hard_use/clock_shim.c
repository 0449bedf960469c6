/* Moves the clocks of one process. The file $CLOCK_SHIM has the seconds added to the wall clock, those added to the
   boot clock, and the boot id; it is read at every call, so that a clock can be set while the process runs. */

#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdlib.h>
#include <stdio.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/syscall.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

#define BOOT_ID "/proc/sys/kernel/random/boot_id"

struct shim {
    double wall, boot;
    char id[64];
};

static void read_shim(struct shim *shim)
{
    char text[256];
    const char *path = getenv("CLOCK_SHIM");
    memset(shim, 0, sizeof *shim);
    int file = path ? (int)syscall(SYS_openat, AT_FDCWD, path, O_RDONLY | O_CLOEXEC) : -1;
    if (file < 0)
        return;
    ssize_t size = read(file, text, sizeof text - 1);
    close(file);
    text[size > 0 ? size : 0] = 0;
    sscanf(text, "%lf %lf %63s", &shim->wall, &shim->boot, shim->id);
}

static void add(struct timespec *time, double seconds)
{
    long long all = (long long)time->tv_sec * 1000000000LL + time->tv_nsec + (long long)(seconds * 1e9);
    time->tv_sec = all / 1000000000LL;
    time->tv_nsec = all % 1000000000LL;
}

int clock_gettime(clockid_t clock, struct timespec *time)
{
    struct shim shim;
    long failed = syscall(SYS_clock_gettime, clock, time);
    if (failed)
        return (int)failed;
    if (clock == CLOCK_REALTIME || clock == CLOCK_REALTIME_COARSE) {
        read_shim(&shim);
        add(time, shim.wall);
    } else if (clock == CLOCK_BOOTTIME) {
        read_shim(&shim);
        add(time, shim.boot);
    }
    return 0;
}

int gettimeofday(struct timeval *restrict time, void *restrict zone)
{
    struct timespec now;
    (void)zone;
    clock_gettime(CLOCK_REALTIME, &now);
    time->tv_sec = now.tv_sec;
    time->tv_usec = now.tv_nsec / 1000;
    return 0;
}

time_t time(time_t *kept)
{
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    if (kept)
        *kept = now.tv_sec;
    return now.tv_sec;
}

/* The boot id is read from a file in memory with the id of the shim. */
static int boot_id_file(void)
{
    struct shim shim;
    read_shim(&shim);
    if (!shim.id[0])
        return -1;
    int file = memfd_create("boot_id", MFD_CLOEXEC);
    dprintf(file, "%s\n", shim.id);
    lseek(file, 0, SEEK_SET);
    return file;
}

#define OPEN(NAME)                                                                                                     \
    int NAME(const char *path, int flags, ...)                                                                         \
    {                                                                                                                  \
        va_list rest;                                                                                                  \
        va_start(rest, flags);                                                                                         \
        int mode = va_arg(rest, int), file = strcmp(path, BOOT_ID) ? -1 : boot_id_file();                              \
        va_end(rest);                                                                                                  \
        return file >= 0 ? file : (int)((int (*)(const char *, int, ...))dlsym(RTLD_NEXT, #NAME))(path, flags, mode); \
    }

OPEN(open)
OPEN(open64)
