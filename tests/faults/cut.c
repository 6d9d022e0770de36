/* A library put before the C library: it counts the calls that change something under CUT_ROOT, and at the n-th
   the power goes (SIGKILL, after half of a write), or the disk is full or gone from then on (the call fails). */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <sys/uio.h>
#include <unistd.h>

static long count, cut_at = -1;
static int fails_with;
static char root[4096];

void cut_set(const char *under, long at, int error) {
    snprintf(root, sizeof root, "%s", under);
    count = 0;
    cut_at = at;
    fails_with = error;
}
long cut_count(void) { return count; }

static int ours(const char *path) {
    char whole[8192];
    if (!path || cut_at < 0) return 0;
    if (path[0] == '/') snprintf(whole, sizeof whole, "%s", path);
    else {
        char here[4096];
        if (!getcwd(here, sizeof here)) return 0;
        snprintf(whole, sizeof whole, "%s/%s", here, path);
    }
    return strncmp(whole, root, strlen(root)) == 0 && !strstr(whole, "/.locks/");
}
static int ours_fd(int fd) {
    char link[64], path[4096];
    if (cut_at < 0) return 0;
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t n = readlink(link, path, sizeof path - 1);
    if (n <= 0) return 0;
    path[n] = 0;
    return ours(path);
}
/* 0: go on; 1: now; 2: fail */
static int due(void) {
    long now = __sync_add_and_fetch(&count, 1);
    if (now < cut_at) return 0;
    if (fails_with) return 2;
    return now == cut_at;
}
static void dark(void) { kill(getpid(), SIGKILL); pause(); }

#define ON_FD(type, name, params, ...) \
    type name params { static type (*real) params; if (!real) real = dlsym(RTLD_NEXT, #name); \
        if (ours_fd(fd)) { int what = due(); if (what == 2) { errno = fails_with; return -1; } if (what) dark(); } \
        return real(__VA_ARGS__); }
#define ON_PATH(name, params, watched, ...) \
    int name params { static int (*real) params; if (!real) real = dlsym(RTLD_NEXT, #name); \
        if (watched) { int what = due(); if (what == 2) { errno = fails_with; return -1; } if (what) dark(); } \
        return real(__VA_ARGS__); }

ssize_t write(int fd, const void *data, size_t size) {
    static ssize_t (*real)(int, const void *, size_t);
    if (!real) real = dlsym(RTLD_NEXT, "write");
    if (ours_fd(fd)) {
        int what = due();
        if (what == 2) { errno = fails_with; return -1; }
        if (what) { if (real(fd, data, size / 2) < 0) {} dark(); }
    }
    return real(fd, data, size);
}
ssize_t pwrite64(int fd, const void *data, size_t size, off64_t at) {
    static ssize_t (*real)(int, const void *, size_t, off64_t);
    if (!real) real = dlsym(RTLD_NEXT, "pwrite64");
    if (ours_fd(fd)) {
        int what = due();
        if (what == 2) { errno = fails_with; return -1; }
        if (what) { if (real(fd, data, size / 2, at) < 0) {} dark(); }
    }
    return real(fd, data, size, at);
}
ssize_t pwrite(int fd, const void *data, size_t size, off_t at) { return pwrite64(fd, data, size, at); }
ON_FD(ssize_t, writev, (int fd, const struct iovec *parts, int number), fd, parts, number)
ON_FD(int, fsync, (int fd), fd)
ON_FD(int, fdatasync, (int fd), fd)
ON_FD(int, ftruncate, (int fd, off_t size), fd, size)
ON_FD(int, ftruncate64, (int fd, off64_t size), fd, size)
ON_FD(ssize_t, sendfile, (int fd, int from, off_t *at, size_t size), fd, from, at, size)
ON_FD(ssize_t, sendfile64, (int fd, int from, off64_t *at, size_t size), fd, from, at, size)
ON_PATH(rename, (const char *from, const char *to), ours(from) || ours(to), from, to)
ON_PATH(renameat, (int a, const char *from, int b, const char *to), ours(from) || ours(to), a, from, b, to)
ON_PATH(unlink, (const char *path), ours(path), path)
ON_PATH(unlinkat, (int at, const char *path, int flags), ours(path), at, path, flags)
ON_PATH(mkdir, (const char *path, mode_t mode), ours(path), path, mode)
ON_PATH(rmdir, (const char *path), ours(path), path)
ON_PATH(truncate, (const char *path, off_t size), ours(path), path, size)
ON_PATH(truncate64, (const char *path, off64_t size), ours(path), path, size)

#define ON_OPEN(name) \
    int name(const char *path, int flags, ...) { static int (*real)(const char *, int, ...); if (!real) real = dlsym(RTLD_NEXT, #name); \
        mode_t mode = 0; if (flags & (O_CREAT | O_TMPFILE)) { va_list more; va_start(more, flags); mode = va_arg(more, mode_t); va_end(more); } \
        if ((flags & (O_CREAT | O_TRUNC)) && ours(path)) { int what = due(); if (what == 2) { errno = fails_with; return -1; } if (what) dark(); } \
        return real(path, flags, mode); }
ON_OPEN(open)
ON_OPEN(open64)
int openat64(int at, const char *path, int flags, ...) {
    static int (*real)(int, const char *, int, ...);
    if (!real) real = dlsym(RTLD_NEXT, "openat64");
    mode_t mode = 0;
    if (flags & (O_CREAT | O_TMPFILE)) { va_list more; va_start(more, flags); mode = va_arg(more, mode_t); va_end(more); }
    if ((flags & (O_CREAT | O_TRUNC)) && ours(path)) { int what = due(); if (what == 2) { errno = fails_with; return -1; } if (what) dark(); }
    return real(at, path, flags, mode);
}
