/* Plays the tables into a file instead of a tape, to hear or to check them on a computer:

       cc -std=c99 -o render render.c tape_player.c tape_tables.c && ./render > sound.raw

   sound.raw holds 16-bit samples, low byte first, left and right in turn, 44100 of each a second. */

#include <stdio.h>

#include "tape_player.h"
#include "tape_tables.h"

#define FRAMES_PER_SECOND 44100u
#define PEAK 29000

static int levels[2];

static void set_level(void *context, int track, int level)
{
    (void)context;
    levels[track] = level;
}

static void put_sample(int value)
{
    const unsigned word = (unsigned)value & 0xffffu;
    putchar((int)(word & 0xffu));
    putchar((int)(word >> 8));
}

int main(void)
{
    tape_player player;
    uint64_t tick = 0;
    uint64_t frame = 0;
    uint32_t wait;

    tape_start(&player, tape_tracks, set_level, NULL);
    while ((wait = tape_next(&player)) > 0) {
        tick += wait;
        for (; frame * TAPE_TICKS_PER_SECOND < tick * FRAMES_PER_SECOND; frame++) {
            put_sample(levels[0] * PEAK);
            put_sample(levels[1] * PEAK);
        }
    }
    return fflush(stdout) == 0 ? 0 : 1;
}
