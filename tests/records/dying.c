/* Loaded before libc: counts what the process writes, and kills it at a chosen write.
   arm(n, half): die at the n-th write from now on, before it, or with half of it done. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <signal.h>
#include <sys/types.h>
#include <unistd.h>

static long left = -1;
static int halfway;
static long seen;

void arm(long n, int half) { left = n; halfway = half; seen = 0; }
long writes(void) { return seen; }

static int due(void) {
    seen++;
    return left > 0 && --left == 0;
}

static void die(void) { kill(getpid(), SIGKILL); }

ssize_t pwrite64(int fd, const void *data, size_t size, off64_t at) {
    ssize_t (*real)(int, const void *, size_t, off64_t) = dlsym(RTLD_NEXT, "pwrite64");
    if (due()) { if (halfway) real(fd, data, size / 2, at); die(); }
    return real(fd, data, size, at);
}

ssize_t pwrite(int fd, const void *data, size_t size, off_t at) { return pwrite64(fd, data, size, at); }

ssize_t write(int fd, const void *data, size_t size) {
    ssize_t (*real)(int, const void *, size_t) = dlsym(RTLD_NEXT, "write");
    if (fd > 2 && due()) { if (halfway) real(fd, data, size / 2); die(); }
    return real(fd, data, size);
}

int ftruncate64(int fd, off64_t size) {
    int (*real)(int, off64_t) = dlsym(RTLD_NEXT, "ftruncate64");
    if (due()) die();
    return real(fd, size);
}

int fdatasync(int fd) {
    int (*real)(int) = dlsym(RTLD_NEXT, "fdatasync");
    if (due()) die();
    return real(fd);
}

int fsync(int fd) {
    int (*real)(int) = dlsym(RTLD_NEXT, "fsync");
    if (due()) die();
    return real(fd);
}
