#include "tape_player.h"

void tape_start(tape_player *player, const tape_track tracks[2], tape_emit emit, void *context)
{
    for (int number = 0; number < 2; number++) {
        tape_voice *voice = &player->voice[number];
        voice->track = &tracks[number];
        voice->next_run = 0;
        voice->wait = 0;
        voice->ticks = 0;
        voice->waves = 0;
        voice->level = 0;
        voice->over = 0;
    }
    player->waited = 0;
    player->emit = emit;
    player->context = context;
}

/* The next half wave or rest of a track whose time has come. */
static void turn(tape_player *player, int number)
{
    tape_voice *voice = &player->voice[number];
    int8_t level;

    if (voice->waves > 0) {
        level = (int8_t)-voice->level;
        voice->waves--;
    } else if (voice->next_run < voice->track->count) {
        const tape_run run = TAPE_FETCH(&voice->track->runs[voice->next_run]);
        voice->next_run++;
        voice->ticks = run.ticks;
        if (run.waves == 0) {
            level = 0;
        } else {
            level = run.waves > 0 ? 1 : -1;
            voice->waves = (uint16_t)((run.waves > 0 ? run.waves : -(int32_t)run.waves) - 1);
        }
    } else {
        level = 0;
        voice->over = 1;
    }
    voice->wait = voice->over ? 0 : voice->ticks;
    if (level != voice->level) {
        voice->level = level;
        player->emit(player->context, number, level);
    }
}

uint32_t tape_next(tape_player *player)
{
    uint32_t soonest = 0;

    for (int number = 0; number < 2; number++) {
        tape_voice *voice = &player->voice[number];
        if (voice->over) {
            continue;
        }
        voice->wait -= player->waited;
        if (voice->wait == 0) {
            turn(player, number);
        }
        if (!voice->over && (soonest == 0 || voice->wait < soonest)) {
            soonest = voice->wait;
        }
    }
    player->waited = soonest;
    return soonest;
}
