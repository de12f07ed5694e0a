#!/bin/sh
# Run once by the PostgreSQL image, as its superuser, when the database's volume is empty: the role
# that the service uses owns its database and is no superuser, so that the triggers which guard the
# records can't be switched off from inside the service.
set -eu
psql --set=ON_ERROR_STOP=1 --set=password="$(cat /run/secrets/database_password)" \
    --username="${POSTGRES_USER:-postgres}" --dbname=postgres <<'SQL'
CREATE ROLE eavesbook LOGIN PASSWORD :'password';
CREATE DATABASE eavesbook OWNER eavesbook;
REVOKE CONNECT ON DATABASE eavesbook FROM PUBLIC;
SQL
