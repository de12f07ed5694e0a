#!/bin/sh
# Make the secrets that compose.example.yaml reads, at random, in a folder: ./make_secrets.sh secrets
# What is there already is kept, so that it can be run again for one that was taken away.
#
# The folder is closed to others. The files in it are not: each is mounted into containers, whose
# processes run under users of their own and could not read it otherwise.
set -eu
folder=${1:-secrets}
mkdir -p "$folder"
chmod 700 "$folder"

random() { od -An -v -tx1 -N32 /dev/urandom | tr -d ' \n'; }

keep() {  # NAME VALUE
    if [ -s "$folder/$1" ]; then
        echo "kept  $folder/$1"
    else
        printf '%s\n' "$2" > "$folder/$1"
        echo "made  $folder/$1"
    fi
    chmod 444 "$folder/$1"
}

keep secret_key "$(random)$(random)"
keep database_admin_password "$(random)"
keep database_password "$(random)"
keep redis_password "$(random)"
keep database_url "postgres://eavesbook:$(cat "$folder/database_password")@database:5432/eavesbook"
keep redis_url "redis://:$(cat "$folder/redis_password")@queue:6379/0"
