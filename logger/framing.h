/* framing.h - the three answers of everything that puts messages together from pieces. */
#ifndef SEARUN_FRAMING_H
#define SEARUN_FRAMING_H

enum framing {
    FRAME_NEED_MORE, /* taken; the message is not complete yet */
    FRAME_BAD,       /* refused and counted in the tally */
    FRAME_READY      /* a whole message is there */
};

#endif
