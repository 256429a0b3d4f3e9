#!/bin/sh
# A disk that is really full: writes jobs, pictures and pages to a small file system in memory, filled
# up to a few kilobytes. Each must end with exit code 1 and the sentence, leave what was there, and
# leave nothing else behind. Referee: the kernel's tmpfs.
# Usage: tests/outside/full_disk.sh PROGRAM    Exit: 0 all as it must be, 1 not, 77 no disk can be mounted
set -eu
program=$(realpath "$1")
drawing=$(realpath "$(dirname "$0")/../../demo/price-tags.svg")
if [ -z "${DISK:-}" ]; then
    DISK=$(mktemp -d)
    export DISK
    trap 'rmdir "$DISK"' EXIT
    # In a namespace of its own: nothing stays mounted, whatever happens.
    unshare --map-root-user --mount true 2>/dev/null || exit 77
    unshare --map-root-user --mount "$0" "$program"
    exit
fi
mount -t tmpfs -o size=256k tmpfs "$DISK" || exit 77
cd "$DISK"
tried=0
for free in 0 4 8 12 16; do
    for result in job.hpgl picture.svg page.html; do
        rm -f ./*
        echo "what stood here" > "$result"
        head -c $(((252 - free) * 1024)) /dev/zero > filling
        set -- write "$drawing" -o -
        case "$result" in
            job.hpgl) set -- write "$drawing" -o "$result" ;;
            picture.svg) set -- check "$drawing" --picture "$result" ;;
            page.html) set -- preview "$drawing" -o "$result" ;;
        esac
        code=0
        "$program" "$@" > /dev/null 2> "/dev/shm/said.$$" || code=$?
        said=$(cat "/dev/shm/said.$$")
        rm -f "/dev/shm/said.$$"
        tried=$((tried + 1))
        case "$code,$said" in
            1,*"$result cannot be written: the disk is full"*) ;;
            *) echo "$free kB free, $result: exit code $code: $said"; exit 1 ;;
        esac
        [ "$(cat "$result")" = "what stood here" ] || { echo "$result was touched"; exit 1; }
        [ "$(ls -A | tr '\n' ' ')" = "filling $result " ] || { ls -A; exit 1; }
    done
done
echo "full disk: $tried results on full disks, each told, nothing lost and nothing left"
