-- +goose Up

-- What a source that wants conditional requests told of a run: its
-- Last-Modified as sent, and the time before which it is not to be asked again.
ALTER TABLE runs ADD COLUMN modified TEXT NOT NULL DEFAULT '';
ALTER TABLE runs ADD COLUMN expires BIGINT NOT NULL DEFAULT -62135596800000;

-- kind is that of the last failure, '' after a success; tried the last attempt;
-- most how many cells may be asked for at once while one that is refused is
-- looked for, 0 otherwise.
ALTER TABLE sources ADD COLUMN kind TEXT NOT NULL DEFAULT '';
ALTER TABLE sources ADD COLUMN tried BIGINT NOT NULL DEFAULT -62135596800000;
ALTER TABLE sources ADD COLUMN most BIGINT NOT NULL DEFAULT 0 CHECK (most >= 0);

-- A cell that a source refuses by itself; it is not asked for until then.
CREATE TABLE refused (
    source   TEXT   NOT NULL CHECK (source <> ''),
    endpoint TEXT   NOT NULL CHECK (endpoint IN ('forecast', 'ensemble')),
    cell     TEXT   NOT NULL,
    since    BIGINT NOT NULL,
    until    BIGINT NOT NULL,
    note     TEXT   NOT NULL,
    PRIMARY KEY (source, endpoint, cell)
);

-- What requests to a source have cost in the minute, hour and day that began
-- then, in hundredths of its calls, and which firm's task is asking it now: one
-- request at a time.
CREATE TABLE allowances (
    source       TEXT   NOT NULL PRIMARY KEY CHECK (source <> ''),
    holder       TEXT   NOT NULL,
    task         TEXT   NOT NULL,
    held_until   BIGINT NOT NULL,
    minute       BIGINT NOT NULL,
    minute_spent BIGINT NOT NULL,
    hour         BIGINT NOT NULL,
    hour_spent   BIGINT NOT NULL,
    day          BIGINT NOT NULL,
    day_spent    BIGINT NOT NULL,
    CHECK ((holder = '') = (held_until = -62135596800000))
);
