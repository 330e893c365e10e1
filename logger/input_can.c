/* input_can.c - frames of a CAN bus through SocketCAN. Listens; never sends: nothing in this file
 * writes to the bus, it claims no address and acknowledges nothing.
 *
 *   can:can0                    NMEA 2000 or J1939, told apart by what it carries
 *   can:can0,nmea2000           NMEA 2000 only
 *   can:can1,j1939,engine=1     the J1939 bus of the second engine
 *
 * A frame gets the instant at which the system received it, by the time stamp of the kernel. The
 * kernel stamps with the computer's clock, which may be set while we run: an instant is believed
 * only as far as it lies between the last time the buffer was empty and now.
 */
#include <errno.h>
#include <linux/can.h>
#include <linux/can/error.h>
#include <linux/can/raw.h>
#include <net/if.h>
#include <net/if_arp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/socket.h>
#include <sys/uio.h>
#include <unistd.h>

#include "input.h"

#define FRAMES_A_CALL 64
#define CALLS_A_WAKING 32
#define CALLS_FOR_THE_REST 4096 /* more than the largest receive buffer holds, 64 MiB */
#define ENGINE_HIGHEST 250
#define CLOCK_STEP_NS (10 * NS_PER_MS)
#define AHEAD_NS (20 * NS_PER_MS) /* a frame may be newer than the moment the loop woke up */

/* Two control messages come with a frame: its stamp, and how many the socket has lost. */
#define CONTROL_ROOM (CMSG_SPACE(sizeof(struct timespec)) + CMSG_SPACE(sizeof(uint32_t)))

struct can {
    char interface[IF_NAMESIZE];
    int receive_buffer; /* bytes */
    int fd;
    bool down;          /* the interface is there, but was not up when last looked at */
    uint32_t overflows; /* frames the socket has lost since it was opened */
    bool clock_known;
    int64_t clock_ahead; /* computer's clock minus run time, ns */
    int64_t empty_at;    /* when its buffer was last known to be empty */
    int64_t last_at;     /* of the last frame */
    uint32_t trouble;    /* error classes told, of those in `troubles` */
    struct can_frame frames[FRAMES_A_CALL];
    _Alignas(struct cmsghdr) char control[FRAMES_A_CALL][CONTROL_ROOM];
};

/* --- the text */

static const char *const form = "can:INTERFACE, e.g. can:can0; then perhaps ,nmea2000 or ,j1939, "
                                "and ,engine=NUMBER for the engine "
                                "that has J1939 source address 0";

static bool is_interface(const char *text)
{
    return text[0] != '\0' && strlen(text) < IF_NAMESIZE && !strpbrk(text, "/ =");
}

static bool is_option(const char *text)
{
    if (strcmp(text, "nmea2000") == 0 || strcmp(text, "j1939") == 0)
        return true;
    if (strncmp(text, "engine=", 7) != 0)
        return false;
    size_t digits = strspn(text + 7, "0123456789");
    return digits >= 1 && digits <= 3 && text[7 + digits] == '\0' &&
           atoi(text + 7) <= ENGINE_HIGHEST;
}

/* The options are read by the decoder's side (intake.c); here they are checked. */
static enum status read_address(struct can *can, const char *address, struct complaint *complaint)
{
    char piece[64];
    if (!input_next_option(&address, piece, sizeof piece) || !is_interface(piece))
        return complain(complaint, STATUS_BAD_USAGE, "a CAN input must name its interface: %s",
                        form);
    strcpy(can->interface, piece);
    while (*address)
        if (!input_next_option(&address, piece, sizeof piece) || !is_option(piece))
            return complain(complaint, STATUS_BAD_USAGE,
                            "\"%.60s\" is not an option of a CAN input: %s", piece, form);
    return STATUS_OK;
}

static enum status create(const char *address, const struct settings *settings, void **self,
                          struct complaint *complaint)
{
    struct can *can = calloc(1, sizeof *can);
    if (!can)
        return complain(complaint, STATUS_MEMORY, "no memory for a CAN input");
    can->fd = -1;
    can->receive_buffer = (int)(settings->receive_buffer * 1024);
    enum status status = read_address(can, address, complaint);
    if (status != STATUS_OK) {
        free(can);
        return status;
    }
    *self = can;
    return STATUS_OK;
}

/* --- opening */

static void close_can(void *self)
{
    struct can *can = self;
    if (can->fd >= 0)
        close(can->fd);
    can->fd = -1;
}

static enum status fail(struct can *can, struct complaint *complaint, const char *words)
{
    complain(complaint, STATUS_IO, "%s", words);
    close_can(can);
    return STATUS_IO;
}

static enum status fail_system(struct can *can, struct complaint *complaint, const char *what)
{
    char words[160];
    snprintf(words, sizeof words, "%s: %s", what, strerror(errno));
    return fail(can, complaint, words);
}

/* Is there, and speaks CAN? The words say what to do. It need not be up. */
static enum status look_at_interface(struct can *can, struct complaint *complaint)
{
    struct ifreq request = {0};
    memcpy(request.ifr_name, can->interface, sizeof can->interface);
    if (ioctl(can->fd, SIOCGIFHWADDR, &request) != 0)
        return fail(can, complaint, "there is no such interface; is the adapter plugged in?");
    if (request.ifr_hwaddr.sa_family != ARPHRD_CAN)
        return fail(can, complaint, "this interface is none of a CAN bus");
    return STATUS_OK;
}

/* The largest buffer the system gives, time stamps, counts of what was lost, and error frames. */
static void set_options(const struct can *can)
{
    const int on = 1;
    const can_err_mask_t errors = CAN_ERR_MASK;
    if (setsockopt(can->fd, SOL_SOCKET, SO_RCVBUFFORCE, &can->receive_buffer, sizeof(int)) != 0)
        setsockopt(can->fd, SOL_SOCKET, SO_RCVBUF, &can->receive_buffer, sizeof(int));
    setsockopt(can->fd, SOL_SOCKET, SO_TIMESTAMPNS, &on, sizeof on);
    setsockopt(can->fd, SOL_SOCKET, SO_RXQ_OVFL, &on, sizeof on);
    setsockopt(can->fd, SOL_CAN_RAW, CAN_RAW_ERR_FILTER, &errors, sizeof errors);
}

static enum status open_can(void *self, struct complaint *complaint)
{
    struct can *can = self;
    struct sockaddr_can address = {.can_family = AF_CAN};
    can->down = false;
    can->overflows = 0;
    can->trouble = 0;
    can->empty_at = INT64_MIN;
    can->fd = socket(PF_CAN, SOCK_RAW | SOCK_CLOEXEC | SOCK_NONBLOCK, CAN_RAW);
    if (can->fd < 0)
        return fail_system(can, complaint, "this system gives no CAN socket (modprobe can_raw)");
    enum status status = look_at_interface(can, complaint);
    if (status != STATUS_OK)
        return status;
    set_options(can);
    address.can_ifindex = (int)if_nametoindex(can->interface);
    if (address.can_ifindex == 0 || bind(can->fd, (struct sockaddr *)&address, sizeof address) != 0)
        return fail_system(can, complaint, "cannot listen");
    return STATUS_OK;
}

/* Frames carry the instant they were received at, so there is no hurry: looking 50 times a second
 * costs a fraction of waking up for each of the 1,800 frames that a full bus carries. */
static int fd_of(const void *self, uint32_t *events)
{
    (void)self;
    *events = 0;
    return INPUT_NO_FD;
}

/* --- what comes with a frame */

struct extras {
    bool stamped;
    int64_t unix_ns;    /* when the system received it */
    uint32_t overflows; /* lost so far */
};

static struct extras read_extras(struct msghdr *message, uint32_t overflows)
{
    struct extras extras = {.overflows = overflows};
    struct timespec stamp;
    for (struct cmsghdr *it = CMSG_FIRSTHDR(message); it; it = CMSG_NXTHDR(message, it)) {
        if (it->cmsg_level != SOL_SOCKET)
            continue;
        if (it->cmsg_type == SO_RXQ_OVFL)
            memcpy(&extras.overflows, CMSG_DATA(it), sizeof extras.overflows);
        if (it->cmsg_type != SCM_TIMESTAMPNS)
            continue;
        memcpy(&stamp, CMSG_DATA(it), sizeof stamp);
        extras.stamped = true;
        extras.unix_ns = (int64_t)stamp.tv_sec * NS_PER_S + stamp.tv_nsec;
    }
    return extras;
}

/* The loop reads run time first and the computer's clock after it: what may come between makes the
 * difference larger, never smaller. So the smallest is the true one, until the clock is set. */
static void follow_clock(struct can *can, const struct moment *now)
{
    int64_t ahead = now->unix_ns - now->at;
    bool was_set = llabs(ahead - can->clock_ahead) > CLOCK_STEP_NS;
    if (!can->clock_known || was_set || ahead < can->clock_ahead)
        can->clock_ahead = ahead;
    can->clock_known = true;
}

/* The instant of a frame; never before the one of the frame before. */
static int64_t instant_of(struct can *can, const struct extras *extras, const struct moment *now)
{
    int64_t at = extras->stamped ? extras->unix_ns - can->clock_ahead : now->at;
    if (at > now->at + AHEAD_NS || at < can->empty_at)
        at = now->at;
    if (at < can->last_at)
        at = can->last_at;
    return can->last_at = at;
}

/* --- error frames: trouble of the controller or the bus, told when it begins */

static const struct trouble {
    uint32_t class;
    const char *key, *text;
} troubles[] = {
    {CAN_ERR_BUSOFF, "can_bus_off", "the CAN controller has left the bus after too many errors"},
    {CAN_ERR_RESTARTED, "can_restarted", "the CAN controller has come back to the bus"},
    {CAN_ERR_CRTL, "can_controller",
     "the CAN controller counts errors; wrong bit rate, wiring or "
     "termination?"},
    {CAN_ERR_PROT, "can_protocol",
     "frames on the CAN bus are damaged; wrong bit rate, wiring or "
     "termination?"},
    {CAN_ERR_ACK, "can_no_answer", "nobody acknowledges on the CAN bus"},
};

static void tell_trouble(struct can *can, int64_t at, const struct can_frame *frame,
                         struct intake *intake)
{
    char text[160];
    bool recovered = frame->can_id & CAN_ERR_CRTL && frame->data[1] == CAN_ERR_CRTL_ACTIVE;
    for (size_t i = 0; i < sizeof troubles / sizeof *troubles && !recovered; i++) {
        if (!(frame->can_id & troubles[i].class) || can->trouble & troubles[i].class)
            continue;
        snprintf(text, sizeof text, "%s: %s", can->interface, troubles[i].text);
        intake_event(intake, at, troubles[i].key, text);
        can->trouble |= troubles[i].class;
    }
    if (recovered || frame->can_id & CAN_ERR_RESTARTED)
        can->trouble = 0;
}

/* The controller itself lost frames before the system could fetch them. */
static bool is_overrun(const struct can_frame *frame)
{
    return frame->can_id & CAN_ERR_FLAG && frame->can_id & CAN_ERR_CRTL &&
           frame->data[1] & CAN_ERR_CRTL_RX_OVERFLOW;
}

/* --- frames */

static void take_frame(struct can *can, const struct moment *now, struct msghdr *message,
                       const struct can_frame *frame, struct intake *intake, unsigned number)
{
    struct extras extras = read_extras(message, can->overflows);
    int64_t at = instant_of(can, &extras, now);
    uint32_t lost = extras.overflows - can->overflows + is_overrun(frame); /* the counter wraps */
    can->overflows = extras.overflows;
    if (lost > 0)
        intake_lost(intake, number, at, lost);
    if (frame->can_id & CAN_ERR_FLAG)
        tell_trouble(can, at, frame, intake);
    unsigned length = frame->can_dlc <= CAN_MAX_DLEN ? frame->can_dlc : CAN_MAX_DLEN;
    intake_frame(intake, number, at, frame->can_id, frame->data, length);
}

/* Frames of one call of the system, or -1 with errno. */
static int receive(struct can *can, struct mmsghdr *messages, struct iovec *bytes)
{
    for (int i = 0; i < FRAMES_A_CALL; i++) {
        bytes[i] = (struct iovec){&can->frames[i], sizeof can->frames[i]};
        messages[i].msg_hdr = (struct msghdr){.msg_iov = &bytes[i],
                                              .msg_iovlen = 1,
                                              .msg_control = can->control[i],
                                              .msg_controllen = sizeof can->control[i]};
    }
    return recvmmsg(can->fd, messages, FRAMES_A_CALL, MSG_DONTWAIT, NULL);
}

/* --- the interface goes down, or goes */

static enum input_answer gone(int error, struct complaint *complaint)
{
    if (error == ENODEV)
        complain(complaint, STATUS_IO, "the interface has gone; was the adapter unplugged?");
    else
        complain(complaint, STATUS_IO, "cannot read: %s", strerror(error));
    return INPUT_GONE;
}

static enum input_answer down(const struct can *can, struct complaint *complaint)
{
    complain(complaint, STATUS_IO,
             "the interface is down: ip link set %s up type can bitrate 250000", can->interface);
    return INPUT_DOWN;
}

static bool is_up(const struct can *can)
{
    struct ifreq request = {0};
    memcpy(request.ifr_name, can->interface, sizeof can->interface);
    return ioctl(can->fd, SIOCGIFFLAGS, &request) == 0 && request.ifr_flags & IFF_UP;
}

/* A socket stays with its interface while that is down, and hears it from the moment it is up.
 * Where the interface itself has gone, the system has taken it from the socket; one that has come
 * back under the same name is another. */
static bool is_bound(const struct can *can)
{
    struct sockaddr_can address = {0};
    socklen_t length = sizeof address;
    return getsockname(can->fd, (struct sockaddr *)&address, &length) == 0 &&
           address.can_ifindex != 0 &&
           (unsigned)address.can_ifindex == if_nametoindex(can->interface);
}

/* It was down when last looked at, and brought nothing since. */
static enum input_answer look_again(struct can *can, struct complaint *complaint)
{
    if (!is_bound(can))
        return gone(ENODEV, complaint);
    can->down = !is_up(can);
    return can->down ? down(can, complaint) : INPUT_READ;
}

/* --- reading */

/* Takes the frames of one call; how many there were, or -1 with errno. */
static int take_some(struct can *can, const struct moment *now, struct intake *intake,
                     unsigned number)
{
    struct mmsghdr messages[FRAMES_A_CALL];
    struct iovec bytes[FRAMES_A_CALL];
    int count = receive(can, messages, bytes);
    for (int i = 0; i < count; i++)
        if (messages[i].msg_len >= sizeof can->frames[i])
            take_frame(can, now, &messages[i].msg_hdr, &can->frames[i], intake, number);
    return count;
}

/* The system tells that the interface is down, or has gone, before it hands out what it had brought
 * until then. This ends also where the interface is back already and brings more. */
static void take_rest(struct can *can, const struct moment *now, struct intake *intake,
                      unsigned number)
{
    int count = 1;
    for (int calls = 0; calls < CALLS_FOR_THE_REST && count > 0; calls++)
        count = take_some(can, now, intake, number);
}

/* Whether any came, and what the system complained of instead: 0 or an errno. */
static int take_all(struct can *can, const struct moment *now, struct intake *intake,
                    unsigned number, bool *any)
{
    int count = FRAMES_A_CALL, error = 0;
    for (int calls = 0; calls < CALLS_A_WAKING && count == FRAMES_A_CALL; calls++) {
        count = take_some(can, now, intake, number);
        *any = *any || count > 0;
    }
    if (count < 0 && errno != EAGAIN && errno != EINTR) {
        error = errno;
        take_rest(can, now, intake, number);
    }
    if (count < FRAMES_A_CALL)
        can->empty_at = now->at;
    return error;
}

static enum input_answer read_can(void *self, const struct moment *now, struct intake *intake,
                                  unsigned number, struct complaint *complaint)
{
    struct can *can = self;
    bool any = false;
    follow_clock(can, now);
    int error = take_all(can, now, intake, number, &any);
    if (error == ENETDOWN) {
        can->down = true;
        return down(can, complaint);
    }
    if (error != 0)
        return gone(error, complaint);
    if (can->down && !any)
        return look_again(can, complaint);
    can->down = false;
    return INPUT_READ;
}

const struct input_driver input_can = {
    .name = "can",
    .usage =
        "can:INTERFACE[,nmea2000|,j1939][,engine=NUMBER]   NMEA 2000 or J1939 through SocketCAN; "
        "NUMBER is the engine with J1939 source address 0",
    .create = create,
    .open = open_can,
    .fd = fd_of,
    .read = read_can,
    .close = close_can,
    .destroy = free,
};
