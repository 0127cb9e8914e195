# Runs a PostgreSQL server on a folder for as long as whoever started this holds the
# other end of its input, however that ends, and then removes the folder.
# server.sh FOLDER AS... -- POSTGRES ARGUMENTS... ; input: "stop" (as if it were
# killed), "start", a line each. It answers each with a line.
folder=$1
shift
# A key pressed for the tests is not for the server.
trap '' INT TERM HUP
pid=
start() {
    "$@" >>"$folder/log" 2>&1 </dev/null &
    pid=$!
}
stop() {
    if [ -n "$pid" ]; then
        kill -QUIT "$pid" 2>/dev/null
        wait "$pid" 2>/dev/null
    fi
    pid=
}
while read -r what; do
    "$what" "$@"
    echo done
done
stop
rm -rf "$folder"
