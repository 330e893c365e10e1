/* input_serial.c - a serial port, 8N1. Opened for reading only; never sends.
 *
 *   serial:/dev/ttyUSB0,4800     serial:/dev/serial/by-id/...,38400     serial:/dev/ttyS0
 *
 * libserialport sets the port up. Its reading functions answer 0 both for "nothing yet" and for
 * "gone", so the descriptor is read directly, and a port that is readable and gives nothing is
 * gone.
 */
#include <errno.h>
#include <libserialport.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include "input.h"

#define BAUD_DEFAULT 4800 /* NMEA 0183's own rate; 38400 is its high-speed one */
#define READS_A_WAKING 16

struct serial {
    char path[96];
    int baud;
    struct sp_port *port;
    int fd;
    uint8_t bytes[4096];
};

/* --- the text */

/* The rates of serial ports that instruments and adapters have (termios knows them by name). Any
 * other is a slip of the finger, and would record noise. */
static const int bauds[] = {300,    600,     1200,    2400,    4800,    9600,    19200,
                            38400,  57600,   115200,  230400,  460800,  500000,  576000,
                            921600, 1000000, 1152000, 1500000, 2000000, 3000000, 4000000};

static bool is_baud(int baud)
{
    for (size_t i = 0; i < sizeof bauds / sizeof *bauds; i++)
        if (bauds[i] == baud)
            return true;
    return false;
}

static bool read_address(struct serial *serial, const char *address)
{
    char baud[16];
    if (!input_next_option(&address, serial->path, sizeof serial->path) || !serial->path[0])
        return false;
    serial->baud = BAUD_DEFAULT;
    if (*address == '\0')
        return true;
    if (!input_next_option(&address, baud, sizeof baud) || *address)
        return false;
    size_t digits = strspn(baud, "0123456789");
    serial->baud = atoi(baud);
    return digits >= 1 && digits <= 7 && baud[digits] == '\0' && is_baud(serial->baud);
}

static enum status create(const char *address, const struct settings *settings, void **self,
                          struct complaint *complaint)
{
    (void)settings;
    struct serial *serial = calloc(1, sizeof *serial);
    if (!serial)
        return complain(complaint, STATUS_MEMORY, "no memory for a serial input");
    serial->fd = -1;
    if (!read_address(serial, address)) {
        free(serial);
        return complain(complaint, STATUS_BAD_USAGE,
                        "\"%.80s\" is not DEVICE,BAUD, like /dev/ttyUSB0,4800 (a usual baud rate: "
                        "4800, which is the default, 9600, 19200, 38400, 115200...)",
                        address);
    }
    *self = serial;
    return STATUS_OK;
}

/* --- opening */

static void close_serial(void *self)
{
    struct serial *serial = self;
    if (serial->port) {
        sp_close(serial->port);
        sp_free_port(serial->port);
    }
    serial->port = NULL;
    serial->fd = -1;
}

static enum status fail_open(struct serial *serial, enum sp_return answer,
                             struct complaint *complaint)
{
    const char *advice = "";
    int error = errno;
    if (error == EACCES)
        advice = "; on Debian, members of the group dialout may open serial ports (sudo adduser "
                 "YOU dialout, then log in again)";
    else if (error == EBUSY)
        advice = "; another program has it open";
    else if (error == ENOENT || answer == SP_ERR_ARG)
        advice = "; is the adapter plugged in?";
    bool is_other = answer == SP_ERR_ARG && access(serial->path, F_OK) == 0;
    if (is_other)
        advice = "; a line that a program shares is heard through udp: or tcp:";
    complain(complaint, STATUS_IO, "cannot be opened: %s%s",
             is_other               ? "it is there, but is no serial port of this computer"
             : answer == SP_ERR_ARG ? "no such serial port"
             : error                ? strerror(error)
                                    : "the port refuses the settings",
             advice);
    close_serial(serial);
    return STATUS_IO;
}

/* 8N1 without any flow control: XON/XOFF would make the system send. */
static enum sp_return set_up(struct sp_port *port, int baud)
{
    enum sp_return answer = sp_set_baudrate(port, baud);
    if (answer == SP_OK)
        answer = sp_set_bits(port, 8);
    if (answer == SP_OK)
        answer = sp_set_parity(port, SP_PARITY_NONE);
    if (answer == SP_OK)
        answer = sp_set_stopbits(port, 1);
    if (answer == SP_OK)
        answer = sp_set_flowcontrol(port, SP_FLOWCONTROL_NONE);
    return answer;
}

/* The library knows ports by the names that the system gave them, not by links (/dev/serial/by-id).
 * Where a link leads to may be another port each time. */
static enum sp_return find_port(struct serial *serial)
{
    char *path = realpath(serial->path, NULL);
    errno = 0;
    enum sp_return answer = sp_get_port_by_name(path ? path : serial->path, &serial->port);
    int error = errno;
    free(path);
    errno = error;
    return answer;
}

static enum status open_serial(void *self, struct complaint *complaint)
{
    struct serial *serial = self;
    enum sp_return answer = find_port(serial);
    if (answer != SP_OK)
        return fail_open(serial, answer, complaint);
    answer = sp_open(serial->port, SP_MODE_READ);
    if (answer != SP_OK) {
        sp_free_port(serial->port);
        serial->port = NULL;
        return fail_open(serial, answer, complaint);
    }
    answer = set_up(serial->port, serial->baud);
    if (answer != SP_OK || sp_get_port_handle(serial->port, &serial->fd) != SP_OK)
        return fail_open(serial, answer, complaint);
    sp_flush(serial->port, SP_BUF_INPUT); /* bytes from before: another rate, an unknown time */
    ioctl(serial->fd, TIOCEXCL);          /* two readers would each get half of the bytes */
    return STATUS_OK;
}

static int fd_of(const void *self, uint32_t *events)
{
    const struct serial *serial = self;
    *events = EPOLLIN;
    return serial->fd >= 0 ? serial->fd : INPUT_NO_FD;
}

/* --- reading */

/* Nothing was read: is there just nothing, or is the port gone? */
static bool is_gone(const struct serial *serial)
{
    struct pollfd look = {.fd = serial->fd, .events = POLLIN};
    return poll(&look, 1, 0) > 0 && look.revents != 0;
}

static enum input_answer read_serial(void *self, const struct moment *now, struct intake *intake,
                                     unsigned number, struct complaint *complaint)
{
    struct serial *serial = self;
    for (int i = 0; i < READS_A_WAKING; i++) {
        ssize_t count = read(serial->fd, serial->bytes, sizeof serial->bytes);
        if (count > 0) {
            intake_bytes(intake, number, now->at, serial->bytes, (size_t)count);
            continue;
        }
        if (count < 0 && errno == EINTR)
            continue;
        if (count < 0 && errno != EAGAIN) {
            complain(complaint, STATUS_IO, "unplugged? %s", strerror(errno));
            return INPUT_GONE;
        }
        if (i > 0 || !is_gone(serial))
            return INPUT_READ;
        complain(complaint, STATUS_IO, "unplugged, or hung up");
        return INPUT_GONE;
    }
    return INPUT_READ;
}

const struct input_driver input_serial = {
    .name = "serial",
    .usage = "serial:DEVICE[,BAUD]   an NMEA 0183 port, 8N1; baud rate 4800 if not named",
    .create = create,
    .open = open_serial,
    .fd = fd_of,
    .read = read_serial,
    .close = close_serial,
    .destroy = free,
};
