-- The memory of a made-up device as the first released table held it: one mark, one key.
-- Never changed: what was written once has to be readable for ever.
BEGIN TRANSACTION;
CREATE TABLE devices (
    made INTEGER PRIMARY KEY,
    device TEXT NOT NULL UNIQUE,
    team TEXT NOT NULL,
    private_key BLOB NOT NULL CHECK (length(private_key) = 32),
    folder TEXT NOT NULL,
    before_number INTEGER,
    before_hash TEXT,
    last_number INTEGER NOT NULL,
    last_hash TEXT NOT NULL,
    done INTEGER NOT NULL,
    forked INTEGER NOT NULL DEFAULT 0
) STRICT;
INSERT INTO "devices" VALUES(1,'80a2b4c4fed09fda0d1ab1feaa263bd126f304c861f50f2da75fc7902117cede','7e7e7e7e7e7e7e7e7e7e7e7e7e7e7e7e7e7e7e7e7e7e7e7e7e7e7e7e7e7e7e7e',X'1B322D5314F939B70BD4BD5441FE2E7447F9C823271D2E8BEE95DD71F223910B','/the/hill/team',1,'aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa',2,'bbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbb',1,0);
CREATE TABLE marks (number INTEGER PRIMARY KEY, step TEXT NOT NULL UNIQUE) STRICT;
INSERT INTO "marks" VALUES(1,'devices');
COMMIT;
