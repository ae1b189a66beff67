/* Lets the n-th call that changes anything below a folder fail once, or ends the program there.
 *
 * Preloaded into one process by faults.py and armed from there: faults_arm(folder, n, error), error being an errno, or
 * -1 for SIGKILL before the call. n = 0 only counts. Children of the armed process are left alone. Calls on files
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
#include <sys/types.h>
#include <sys/uio.h>
#include <unistd.h>

static char root[4096];
static size_t root_length;
static long at, calls;
static int error_number, armed;
static pid_t owner;
static char what[64];

void faults_arm(const char *folder, long n, int error) {
    snprintf(root, sizeof root, "%s", folder);
    root_length = strlen(root);
    at = n; calls = 0; error_number = error; owner = getpid(); armed = 1; what[0] = 0;
}

long faults_disarm(void) { armed = 0; return calls; }
const char *faults_call(void) { return what; }

static int below(const char *path) {
    return strncmp(path, root, root_length) == 0 && (path[root_length] == '/' || path[root_length] == 0);
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
    if (folder == AT_FDCWD) return getcwd(path, sizeof path) != NULL && below(path);
    return fd_below(folder);
}

/* Whether this call is the one; errno is set then. */
static int strikes(const char *call) {
    if (++calls != at) return 0;
    snprintf(what, sizeof what, "%s", call);
    if (error_number < 0) kill(getpid(), SIGKILL);
    errno = error_number;
    return 1;
}

static int watched(void) { return armed && getpid() == owner; }

#define REAL(type, name, ...) \
    static type (*real)(__VA_ARGS__); \
    if (!real) real = (type (*)(__VA_ARGS__))dlsym(RTLD_NEXT, name)

ssize_t write(int fd, const void *data, size_t size) {
    REAL(ssize_t, "write", int, const void *, size_t);
    if (watched() && fd_below(fd) && strikes("write")) return -1;
    return real(fd, data, size);
}

ssize_t pwrite(int fd, const void *data, size_t size, off_t offset) {
    REAL(ssize_t, "pwrite", int, const void *, size_t, off_t);
    if (watched() && fd_below(fd) && strikes("write")) return -1;
    return real(fd, data, size, offset);
}

ssize_t pwrite64(int fd, const void *data, size_t size, off64_t offset) {
    REAL(ssize_t, "pwrite64", int, const void *, size_t, off64_t);
    if (watched() && fd_below(fd) && strikes("write")) return -1;
    return real(fd, data, size, offset);
}

int fsync(int fd) {
    REAL(int, "fsync", int);
    if (watched() && fd_below(fd) && strikes("fsync")) return -1;
    return real(fd);
}

int fdatasync(int fd) {
    REAL(int, "fdatasync", int);
    if (watched() && fd_below(fd) && strikes("fsync")) return -1;
    return real(fd);
}

int close(int fd) { /* as Linux does: the descriptor is gone, whatever is reported */
    REAL(int, "close", int);
    int struck = watched() && fd_below(fd) && (fcntl(fd, F_GETFL) & O_ACCMODE) != O_RDONLY && strikes("close");
    int error = errno, done = real(fd);
    if (!struck) return done;
    errno = error;
    return -1;
}

int rename(const char *from, const char *to) {
    REAL(int, "rename", const char *, const char *);
    if (watched() && name_below(AT_FDCWD, to) && strikes("rename")) return -1;
    return real(from, to);
}

int renameat(int a, const char *from, int b, const char *to) {
    REAL(int, "renameat", int, const char *, int, const char *);
    if (watched() && name_below(b, to) && strikes("rename")) return -1;
    return real(a, from, b, to);
}

int link(const char *from, const char *to) {
    REAL(int, "link", const char *, const char *);
    if (watched() && name_below(AT_FDCWD, to) && strikes("link")) return -1;
    return real(from, to);
}

int linkat(int a, const char *from, int b, const char *to, int flags) {
    REAL(int, "linkat", int, const char *, int, const char *, int);
    if (watched() && name_below(b, to) && strikes("link")) return -1;
    return real(a, from, b, to, flags);
}

int unlink(const char *name) {
    REAL(int, "unlink", const char *);
    if (watched() && name_below(AT_FDCWD, name) && strikes("unlink")) return -1;
    return real(name);
}

int unlinkat(int folder, const char *name, int flags) {
    REAL(int, "unlinkat", int, const char *, int);
    if (watched() && name_below(folder, name) && strikes("unlink")) return -1;
    return real(folder, name, flags);
}

int mkdir(const char *name, mode_t mode) {
    REAL(int, "mkdir", const char *, mode_t);
    if (watched() && name_below(AT_FDCWD, name) && strikes("mkdir")) return -1;
    return real(name, mode);
}

int mkdirat(int folder, const char *name, mode_t mode) {
    REAL(int, "mkdirat", int, const char *, mode_t);
    if (watched() && name_below(folder, name) && strikes("mkdir")) return -1;
    return real(folder, name, mode);
}
