/* Lets the n-th call that changes anything below a folder fail, or ends the program there.
 *
 * Preloaded into one process by faults.py and armed from there: faults_arm(folder, n, error, lasting). error is an
 * errno, or -1 for SIGKILL before the call; n = 0 only counts. lasting: 0 that call alone fails; 1 so does every later
 * one that needs room on the disk; 2 every later one. Children of the armed process are left alone. Calls on files
 * elsewhere (terminal, pipes, libraries) are neither counted nor touched.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <sys/uio.h>
#include <unistd.h>

enum { ONCE, NO_ROOM, ALL };

static char root[4096];
static size_t root_length;
static long at, calls;
static int error_number, armed, lasts;
static pid_t owner;
static char what[64];
static char trace[1 << 20];  /* a line a counted call: which, and of what file */
static size_t traced;
static __thread char subject[4200];

void faults_arm(const char *folder, long n, int error, int lasting) {
    snprintf(root, sizeof root, "%s", folder);
    root_length = strlen(root);
    at = n; calls = 0; error_number = error; lasts = lasting; owner = getpid(); what[0] = 0;
    traced = 0; trace[0] = 0;
    armed = 1;
}

long faults_disarm(void) { armed = 0; return calls; }
const char *faults_call(void) { return what; }
const char *faults_trace(void) { return trace; }

static int below(const char *path) {
    if (strncmp(path, root, root_length) != 0 || (path[root_length] != '/' && path[root_length] != 0)) return 0;
    snprintf(subject, sizeof subject, "%s", path + root_length);
    return 1;
}

static int fd_below(int fd) {
    char link[64], path[4096];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(link, path, sizeof path - 1);
    if (length <= 0) return 0;
    path[length] = 0;
    return below(path);
}

static int name_below(int folder, const char *name) {
    char path[4096];
    if (name[0] == '/') return below(name);
    if (folder == AT_FDCWD ? getcwd(path, sizeof path) == NULL || !below(path) : !fd_below(folder)) return 0;
    size_t length = strlen(subject);
    snprintf(subject + length, sizeof subject - length, "/%s", name);
    return 1;
}

/* Whether this call is to fail; errno is set then. */
static int strikes(const char *call, int needs_room) {
    long number = __atomic_add_fetch(&calls, 1, __ATOMIC_SEQ_CST);
    int length = snprintf(trace + traced, sizeof trace - traced, "%s %s\n", call, subject);
    if (length > 0 && traced + length < sizeof trace) traced += length;
    if (!at || number < at) return 0;
    if (number > at && (lasts == ONCE || (lasts == NO_ROOM && !needs_room))) return 0;
    if (number == at) snprintf(what, sizeof what, "%s", call);
    if (error_number < 0) kill(getpid(), SIGKILL);
    errno = error_number;
    return 1;
}

static int watched(void) { return armed && getpid() == owner; }

#define REAL(type, name, ...) \
    static type (*real)(__VA_ARGS__); \
    if (!real) real = (type (*)(__VA_ARGS__))dlsym(RTLD_NEXT, name)

/* int or ssize_t CALL(fd, ...): fails with -1 */
#define OF_FD(type, name, label, room, parameters, arguments, ...) \
    type name parameters { \
        REAL(type, #name, __VA_ARGS__); \
        if (watched() && fd_below(fd) && strikes(label, room)) return -1; \
        return real arguments; \
    }

OF_FD(ssize_t, write, "write", 1, (int fd, const void *data, size_t size), (fd, data, size),
      int, const void *, size_t)
OF_FD(ssize_t, pwrite, "write", 1, (int fd, const void *data, size_t size, off_t offset), (fd, data, size, offset),
      int, const void *, size_t, off_t)
OF_FD(ssize_t, pwrite64, "write", 1, (int fd, const void *data, size_t size, off64_t offset), (fd, data, size, offset),
      int, const void *, size_t, off64_t)
OF_FD(ssize_t, writev, "write", 1, (int fd, const struct iovec *parts, int count), (fd, parts, count),
      int, const struct iovec *, int)
OF_FD(ssize_t, sendfile, "write", 1, (int fd, int from, off_t *offset, size_t size), (fd, from, offset, size),
      int, int, off_t *, size_t)
OF_FD(ssize_t, sendfile64, "write", 1, (int fd, int from, off64_t *offset, size_t size), (fd, from, offset, size),
      int, int, off64_t *, size_t)
OF_FD(int, ftruncate, "ftruncate", 1, (int fd, off_t size), (fd, size), int, off_t)
OF_FD(int, ftruncate64, "ftruncate", 1, (int fd, off64_t size), (fd, size), int, off64_t)
OF_FD(int, fallocate, "fallocate", 1, (int fd, int mode, off_t at_, off_t size), (fd, mode, at_, size),
      int, int, off_t, off_t)
OF_FD(int, fallocate64, "fallocate", 1, (int fd, int mode, off64_t at_, off64_t size), (fd, mode, at_, size),
      int, int, off64_t, off64_t)
OF_FD(int, fsync, "fsync", 1, (int fd), (fd), int)
OF_FD(int, fdatasync, "fsync", 1, (int fd), (fd), int)
OF_FD(int, fchmod, "chmod", 0, (int fd, mode_t mode), (fd, mode), int, mode_t)
OF_FD(int, futimens, "utime", 0, (int fd, const struct timespec times[2]), (fd, times), int, const struct timespec *)

/* posix_fallocate gives the error instead of setting errno */
int posix_fallocate(int fd, off_t offset, off_t size) {
    REAL(int, "posix_fallocate", int, off_t, off_t);
    if (watched() && fd_below(fd) && strikes("fallocate", 1)) return errno;
    return real(fd, offset, size);
}

int posix_fallocate64(int fd, off64_t offset, off64_t size) {
    REAL(int, "posix_fallocate64", int, off64_t, off64_t);
    if (watched() && fd_below(fd) && strikes("fallocate", 1)) return errno;
    return real(fd, offset, size);
}

ssize_t copy_file_range(int from, off64_t *a, int fd, off64_t *b, size_t size, unsigned flags) {
    REAL(ssize_t, "copy_file_range", int, off64_t *, int, off64_t *, size_t, unsigned);
    if (watched() && fd_below(fd) && strikes("write", 1)) return -1;
    return real(from, a, fd, b, size, flags);
}

/* what C and C++ libraries write with; the C library's own way down from there cannot be reached */
size_t fwrite(const void *data, size_t size, size_t count, FILE *file) {
    REAL(size_t, "fwrite", const void *, size_t, size_t, FILE *);
    if (watched() && fd_below(fileno(file)) && strikes("write", 1)) return 0;
    return real(data, size, count, file);
}

int fclose(FILE *file) {
    REAL(int, "fclose", FILE *);
    int fd = fileno(file);
    int struck = watched() && fd >= 0 && fd_below(fd) && (fcntl(fd, F_GETFL) & O_ACCMODE) != O_RDONLY
                 && strikes("close", 0);
    int error = errno, done = real(file);
    if (!struck) return done;
    errno = error;
    return EOF;
}

int close(int fd) { /* as Linux does: the descriptor is gone, whatever is reported */
    REAL(int, "close", int);
    int struck = watched() && fd_below(fd) && (fcntl(fd, F_GETFL) & O_ACCMODE) != O_RDONLY && strikes("close", 0);
    int error = errno, done = real(fd);
    if (!struck) return done;
    errno = error;
    return -1;
}

/* Opening counts where it makes a file or empties one. */
static int makes(int folder, const char *name, int flags) {
    if (!(flags & (O_CREAT | O_TRUNC)) || !name_below(folder, name)) return 0;
    return (flags & O_TRUNC) || faccessat(folder, name, F_OK, AT_SYMLINK_NOFOLLOW) != 0;
}

#define OPENING(name) \
    int name(const char *path, int flags, ...) { \
        REAL(int, #name, const char *, int, ...); \
        va_list more; va_start(more, flags); mode_t mode = va_arg(more, mode_t); va_end(more); \
        int error = errno; \
        if (watched() && makes(AT_FDCWD, path, flags) && strikes("open", 1)) return -1; \
        errno = error; \
        return real(path, flags, mode); \
    }

#define OPENING_AT(name) \
    int name(int folder, const char *path, int flags, ...) { \
        REAL(int, #name, int, const char *, int, ...); \
        va_list more; va_start(more, flags); mode_t mode = va_arg(more, mode_t); va_end(more); \
        int error = errno; \
        if (watched() && makes(folder, path, flags) && strikes("open", 1)) return -1; \
        errno = error; \
        return real(folder, path, flags, mode); \
    }

OPENING(open)
OPENING(open64)
OPENING_AT(openat)
OPENING_AT(openat64)

static FILE *fopen_(const char *called, const char *path, const char *mode) {
    FILE *(*real)(const char *, const char *) = (FILE *(*)(const char *, const char *))dlsym(RTLD_NEXT, called);
    if (watched() && mode[0] != 'r' && name_below(AT_FDCWD, path) && strikes("open", 1)) return NULL;
    return real(path, mode);
}

FILE *fopen(const char *path, const char *mode) { return fopen_("fopen", path, mode); }
FILE *fopen64(const char *path, const char *mode) { return fopen_("fopen64", path, mode); }

int rename(const char *from, const char *to) {
    REAL(int, "rename", const char *, const char *);
    if (watched() && name_below(AT_FDCWD, to) && strikes("rename", 1)) return -1;
    return real(from, to);
}

int renameat(int a, const char *from, int b, const char *to) {
    REAL(int, "renameat", int, const char *, int, const char *);
    if (watched() && name_below(b, to) && strikes("rename", 1)) return -1;
    return real(a, from, b, to);
}

int link(const char *from, const char *to) {
    REAL(int, "link", const char *, const char *);
    if (watched() && name_below(AT_FDCWD, to) && strikes("link", 1)) return -1;
    return real(from, to);
}

int linkat(int a, const char *from, int b, const char *to, int flags) {
    REAL(int, "linkat", int, const char *, int, const char *, int);
    if (watched() && name_below(b, to) && strikes("link", 1)) return -1;
    return real(a, from, b, to, flags);
}

int symlink(const char *text, const char *name) {
    REAL(int, "symlink", const char *, const char *);
    if (watched() && name_below(AT_FDCWD, name) && strikes("symlink", 1)) return -1;
    return real(text, name);
}

int unlink(const char *name) {
    REAL(int, "unlink", const char *);
    if (watched() && name_below(AT_FDCWD, name) && strikes("unlink", 0)) return -1;
    return real(name);
}

int unlinkat(int folder, const char *name, int flags) {
    REAL(int, "unlinkat", int, const char *, int);
    if (watched() && name_below(folder, name) && strikes("unlink", 0)) return -1;
    return real(folder, name, flags);
}

int rmdir(const char *name) {
    REAL(int, "rmdir", const char *);
    if (watched() && name_below(AT_FDCWD, name) && strikes("rmdir", 0)) return -1;
    return real(name);
}

int mkdir(const char *name, mode_t mode) {
    REAL(int, "mkdir", const char *, mode_t);
    if (watched() && name_below(AT_FDCWD, name) && strikes("mkdir", 1)) return -1;
    return real(name, mode);
}

int mkdirat(int folder, const char *name, mode_t mode) {
    REAL(int, "mkdirat", int, const char *, mode_t);
    if (watched() && name_below(folder, name) && strikes("mkdir", 1)) return -1;
    return real(folder, name, mode);
}

int utimensat(int folder, const char *name, const struct timespec times[2], int flags) {
    REAL(int, "utimensat", int, const char *, const struct timespec *, int);
    if (watched() && name_below(folder, name) && strikes("utime", 0)) return -1;
    return real(folder, name, times, flags);
}
