#!/bin/sh
# A system that lets a user begin no more threads: jobs are planned, checked and rehearsed on the threads
# that there are, with the same bytes; what cannot go on ends with a sentence. Referee: the kernel's limit
# of threads (`ulimit -u`) for a user who runs nothing else.
# Usage: tests/outside/few_threads.sh PROGRAM    Exit: 0 all as it must be, 1 not, 77 no such user
set -eu
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
chmod 777 "$folder"
cp "$1" "$folder/program"
cp "$(dirname "$0")/../../demo/wheel-emblem.svg" "$folder/drawing.svg"
user=60123
as_user() {
    threads=$1
    shift
    setpriv --reuid $user --regid $user --clear-groups \
        sh -c "ulimit -u $threads; cd \"\$0\"; exec ./program \"\$@\"" "$folder" "$@"
}
setpriv --reuid $user --regid $user --clear-groups true 2> /dev/null || exit 77
tried=0
as_user 100 write drawing.svg -o whole.hpgl > /dev/null 2>&1
# With one there is none for the drawing, which needs a deep stack.
for threads in 1 2 3 4 5 6; do
    for command in "write drawing.svg -o job.hpgl" "compare drawing.svg" "check whole.hpgl" \
        "preview whole.hpgl -o page.html" "send whole.hpgl --dry-run" \
        "send whole.hpgl --port /dev/nowhere --yes --blade-up" "profiles list"; do
        code=0
        # The words of a command are several arguments.
        # shellcheck disable=SC2086
        as_user $threads $command > "$folder/out" 2> "$folder/said" || code=$?
        tried=$((tried + 1))
        case "$threads,$command,$code" in
            1,write*,1 | 1,compare*,1) grep -q "no memory for it" "$folder/said" ;;
            1,send*port*,1) grep -q "Ctrl-C cannot be caught" "$folder/said" ;;
            *,send*port*,3) grep -q "there is no port" "$folder/said" ;;
            *,0) ;;
            *) false ;;
        esac || { echo "$threads threads, $command: exit code $code"; cat "$folder/said"; exit 1; }
        case "$threads,$command" in
            1,*) ;;
            *,write*) cmp "$folder/job.hpgl" "$folder/whole.hpgl" ;;
        esac
    done
done
echo "few threads: $tried commands, all as they must be"
