-- +goose Up

-- Times are BIGINT milliseconds since 1970 in UTC; -62135596800000 (the zero
-- time of Go, year 1) is "none". Civil dates are TEXT 2027-04-14, '' is none.
-- body holds the whole value as JSON; the columns beside it are those that
-- queries and constraints need.

CREATE TABLE firms (
    uid      TEXT   NOT NULL PRIMARY KEY CHECK (uid <> ''),
    revision BIGINT NOT NULL CHECK (revision >= 1),
    life     TEXT   NOT NULL CHECK (life IN ('new', 'live', 'virtual')),
    mark     BIGINT NOT NULL,
    body     TEXT   NOT NULL
);

CREATE TABLE crews (
    firm    TEXT   NOT NULL REFERENCES firms (uid),
    id      TEXT   NOT NULL CHECK (id <> ''),
    changed BIGINT NOT NULL,
    body    TEXT   NOT NULL,
    PRIMARY KEY (firm, id)
);

CREATE TABLE jobs (
    firm    TEXT   NOT NULL REFERENCES firms (uid),
    id      TEXT   NOT NULL CHECK (id <> ''),
    state   TEXT   NOT NULL CHECK (state IN ('booked', 'done', 'cancelled')),
    changed BIGINT NOT NULL,
    body    TEXT   NOT NULL,
    PRIMARY KEY (firm, id)
);

CREATE TABLE visits (
    firm  TEXT   NOT NULL,
    job   TEXT   NOT NULL,
    n     BIGINT NOT NULL CHECK (n >= 1),
    state TEXT   NOT NULL CHECK (state IN ('planned', 'started', 'finished', 'broken', 'off')),
    body  TEXT   NOT NULL,
    PRIMARY KEY (firm, job, n),
    FOREIGN KEY (firm, job) REFERENCES jobs (firm, id)
);
CREATE INDEX visits_open ON visits (firm, state);

-- the plan in force is the one with the highest revision; others are history
CREATE TABLE weeks (
    firm     TEXT   NOT NULL REFERENCES firms (uid),
    id       TEXT   NOT NULL CHECK (id <> ''),
    revision BIGINT NOT NULL,
    made     BIGINT NOT NULL,
    body     TEXT   NOT NULL,
    PRIMARY KEY (firm, id)
);
CREATE INDEX weeks_force ON weeks (firm, revision);

CREATE TABLE calls (
    firm       TEXT   NOT NULL,
    job        TEXT   NOT NULL,
    date       TEXT   NOT NULL CHECK (date <> ''),
    occasion   TEXT   NOT NULL CHECK (occasion <> ''),
    outcome    TEXT   NOT NULL CHECK (outcome IN ('go', 'no-go', 'hold')),
    made       BIGINT NOT NULL,
    det_digest TEXT   NOT NULL,
    ens_digest TEXT   NOT NULL,
    body       TEXT   NOT NULL,
    PRIMARY KEY (firm, job, date, occasion),
    FOREIGN KEY (firm, job) REFERENCES jobs (firm, id)
);
CREATE INDEX calls_day ON calls (firm, date);

CREATE TABLE tasks (
    firm        TEXT   NOT NULL REFERENCES firms (uid),
    name        TEXT   NOT NULL CHECK (name <> ''),
    rank        BIGINT NOT NULL,
    due         BIGINT NOT NULL,
    slot        BIGINT NOT NULL,
    tries       BIGINT NOT NULL CHECK (tries >= 0),
    note        TEXT   NOT NULL,
    lease       TEXT   NOT NULL,
    lease_until BIGINT NOT NULL,
    -- made due by another task while this one was leased: folded into due when
    -- the lease ends
    armed_due   BIGINT,
    armed_slot  BIGINT,
    PRIMARY KEY (firm, name),
    CHECK ((lease = '') = (lease_until = -62135596800000))
);
CREATE INDEX tasks_due ON tasks (due, rank, firm);

CREATE TABLE messages (
    id          TEXT   NOT NULL PRIMARY KEY CHECK (id <> ''),
    firm        TEXT   NOT NULL REFERENCES firms (uid),
    kind        TEXT   NOT NULL,
    job         TEXT   NOT NULL,
    visit       BIGINT NOT NULL,
    date        TEXT   NOT NULL,
    occasion    TEXT   NOT NULL,
    recipient   TEXT   NOT NULL CHECK (recipient <> ''),
    channel     TEXT   NOT NULL CHECK (channel IN ('mail')),
    audience    TEXT   NOT NULL CHECK (audience IN ('crew', 'owner', 'customer')),
    message_id  TEXT   NOT NULL,
    subject     TEXT   NOT NULL,
    reason      TEXT   NOT NULL,
    created     BIGINT NOT NULL,
    not_before  BIGINT NOT NULL,
    expires     BIGINT NOT NULL,
    state       TEXT   NOT NULL CHECK (state IN
                ('pending', 'begun', 'sent', 'refused', 'withdrawn', 'expired', 'unknown')),
    tries       BIGINT NOT NULL CHECK (tries >= 0),
    begun       BIGINT NOT NULL,
    settled     BIGINT NOT NULL,
    next_try    BIGINT NOT NULL,
    note        TEXT   NOT NULL,
    lease       TEXT   NOT NULL,
    lease_until BIGINT NOT NULL,
    wire        BYTEA  NOT NULL,
    -- open messages are not settled, settled ones are and bear no lease
    CHECK ((state IN ('pending', 'begun')) = (settled = -62135596800000)),
    CHECK (state IN ('pending', 'begun') OR lease = ''),
    -- what was handed over or sent was begun
    CHECK (state NOT IN ('begun', 'sent') OR begun > -62135596800000),
    CHECK ((lease = '') = (lease_until = -62135596800000))
);
-- the open messages: of any firm, of one firm, of one person about one visit
CREATE INDEX messages_open ON messages (created, id) WHERE state IN ('pending', 'begun');
CREATE INDEX messages_open_firm ON messages (firm, created, id) WHERE state IN ('pending', 'begun');
CREATE INDEX messages_order ON messages (firm, recipient, job, visit, created, id)
    WHERE state IN ('pending', 'begun');
CREATE INDEX messages_firm ON messages (firm, created, id);

CREATE TABLE untold (
    id     TEXT   NOT NULL PRIMARY KEY,
    firm   TEXT   NOT NULL REFERENCES firms (uid),
    person TEXT   NOT NULL,
    job    TEXT   NOT NULL,
    date   TEXT   NOT NULL,
    at     BIGINT NOT NULL,
    reason TEXT   NOT NULL
);
CREATE INDEX untold_firm ON untold (firm, at);

CREATE TABLE runs (
    source     TEXT   NOT NULL CHECK (source <> ''),
    endpoint   TEXT   NOT NULL CHECK (endpoint IN ('forecast', 'ensemble')),
    cell       TEXT   NOT NULL,
    digest     TEXT   NOT NULL CHECK (digest <> ''),
    model      TEXT   NOT NULL,
    model_run  BIGINT NOT NULL,
    notes      TEXT   NOT NULL,
    first_seen BIGINT NOT NULL,
    last_seen  BIGINT NOT NULL,
    changed    BIGINT NOT NULL,
    hours      BYTEA  NOT NULL,
    PRIMARY KEY (source, endpoint, cell, digest)
);
CREATE INDEX runs_newest ON runs (source, endpoint, cell, last_seen, first_seen, digest);
CREATE INDEX runs_age ON runs (last_seen);

CREATE TABLE sources (
    source   TEXT   NOT NULL CHECK (source <> ''),
    endpoint TEXT   NOT NULL CHECK (endpoint IN ('forecast', 'ensemble')),
    failures BIGINT NOT NULL CHECK (failures >= 0),
    since    BIGINT NOT NULL,
    until    BIGINT NOT NULL,
    note     TEXT   NOT NULL,
    good     BIGINT NOT NULL,
    PRIMARY KEY (source, endpoint)
);
