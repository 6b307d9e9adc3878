#!/bin/sh
# Stands before rustc (RUSTC_WRAPPER): coverage of fanmill's library alone, as cargo-fuzz has it for everything. A build
# script cannot be linked with it, and PROJ is not built again for it.
crate='' last=''
for word in "$@"; do
    [ "$last" = --crate-name ] && crate=$word
    last=$word
done
if [ "$crate" = fanmill ]; then
    exec "$@" -Cpasses=sancov-module -Cllvm-args=-sanitizer-coverage-level=4 \
        -Cllvm-args=-sanitizer-coverage-inline-8bit-counters -Cllvm-args=-sanitizer-coverage-pc-table \
        -Cllvm-args=-sanitizer-coverage-trace-compares -Ccodegen-units=1 -Copt-level=1
fi
exec "$@"
