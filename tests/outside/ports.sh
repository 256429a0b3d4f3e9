#!/bin/sh
# Ports as the kernel would show them (sysfs, Documentation/ABI: /sys/class/tty, /sys/bus/usb/devices), in a
# namespace of its own: none at all, an empty list, an adapter that says what it is, one that is in use.
# Usage: tests/outside/ports.sh PROGRAM    Exit: 0 all as it must be, 1 not, 77 nothing can be mounted
set -eu
program=$(realpath "$1")
if [ -z "${APART:-}" ]; then
    APART=yes
    export APART
    unshare --map-root-user --mount mount -t tmpfs tmpfs /sys 2>/dev/null || exit 77
    exec unshare --map-root-user --mount "$0" "$program"
fi
job=$(mktemp)
trap 'rm -f "$job"' EXIT
echo "IN;SP1;PU0,0;PD400,0;PU;SP0;" > "$job"
fail() {
    echo "$1: $said"
    exit 1
}
# What the program says, with its exit code before it.
ask() {
    code=0
    said=$("$program" "$@" 2>&1) || code=$?
    said="$code $said"
}
none="no serial port was found; plug in the adapter, or look at its cable"

mount -t tmpfs tmpfs /sys
for kernel in "no list" "empty list"; do
    [ "$kernel" = "no list" ] || mkdir -p /sys/class/tty
    ask ports
    [ "$said" = "3 error: $none" ] || fail "$kernel"
    ask send "$job" --port /dev/ttyNONE --yes
    case "$said" in "3 "*"there is no port /dev/ttyNONE; $none") ;; *) fail "$kernel" ;; esac
done

device=/sys/devices/usb1/1-1
mkdir -p $device/1-1:1.0/ttyUSB7 /sys/bus/usb-serial /sys/class/tty/ttyUSB7
ln -s /sys/bus/usb-serial $device/1-1:1.0/ttyUSB7/subsystem
ln -s $device/1-1:1.0/ttyUSB7 /sys/class/tty/ttyUSB7/device
echo 0abc > $device/idVendor
echo 0012 > $device/idProduct
echo "Tern Lane Workshop" > $device/manufacturer
echo "Line adapter" > $device/product
echo TL-7 > $device/serial
mount -t tmpfs tmpfs /dev
: > /dev/ttyUSB7
adapter="/dev/ttyUSB7  Tern Lane Workshop, Line adapter, serial number TL-7, USB 0abc:0012"
ask ports
[ "$said" = "0 $adapter" ] || fail "an adapter"
ask send "$job" --port /dev/ttyNONE --yes
case "$said" in "3 "*"there is no port /dev/ttyNONE; there are: /dev/ttyUSB7") ;; *) fail "another" ;; esac
exec 9< /dev/ttyUSB7
ask ports
case "$said" in "0 $adapter, in use by \""*"\" (process "*")") ;; *) fail "in use" ;; esac
echo "ports: none, an empty list, an adapter and one in use, each told"
