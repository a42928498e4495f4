/* Plays a recording from tables: two tracks of half waves on the pins of any microcontroller. C99, nothing else needed.

   A run is so many half waves of so many timer ticks each. waves > 0: the first is high; waves < 0: the first is low;
   waves = 0: no wave, the track rests for that many ticks. High and low alternate within a run.

   Use: call tape_start once, then tape_next again and again, each time as many ticks later as the last call said
   (from a timer's compare interrupt, say: add the answer to the compare value, so that no delay adds up). It calls
   emit for each track whose level changes. An answer of 0 means that the recording is over.

   Two resistors make the line level: a pin that can be high, low and input (rest) into a divider to half the supply,
   then a capacitor to the line input. A pin that can only be high and low may treat rest as low. */

#ifndef TAPE_PLAYER_H
#define TAPE_PLAYER_H

#include <stdint.h>

typedef struct {
    uint16_t ticks;
    int16_t waves;
} tape_run;

typedef struct {
    const tape_run *runs;
    uint32_t count;
} tape_track;

/* Where constants do not lie in ordinary memory, define this to fetch a run from where they do. */
#ifndef TAPE_FETCH
#define TAPE_FETCH(pointer) (*(pointer))
#endif

/* track: 0 left, 1 right. level: 1 high, -1 low, 0 rest. */
typedef void (*tape_emit)(void *context, int track, int level);

typedef struct {
    const tape_track *track;
    uint32_t next_run;
    uint32_t wait;
    uint16_t ticks;
    uint16_t waves;
    int8_t level;
    int8_t over;
} tape_voice;

typedef struct {
    tape_voice voice[2];
    uint32_t waited;
    tape_emit emit;
    void *context;
} tape_player;

void tape_start(tape_player *player, const tape_track tracks[2], tape_emit emit, void *context);
uint32_t tape_next(tape_player *player);

#endif
