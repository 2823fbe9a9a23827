-- +goose Up

-- A secret link: all but the secret. hash is that of the token of the present
-- generation; a request is looked up by it.
CREATE TABLE links (
    firm       TEXT   NOT NULL REFERENCES firms (uid),
    audience   TEXT   NOT NULL CHECK (audience IN ('customer', 'crew', 'owner')),
    id         TEXT   NOT NULL,
    purpose    TEXT   NOT NULL CHECK (purpose IN ('page', 'feed', 'approve')),
    generation BIGINT NOT NULL CHECK (generation >= 0),
    hash       TEXT   NOT NULL UNIQUE CHECK (hash <> ''),
    created    BIGINT NOT NULL,
    PRIMARY KEY (firm, audience, id, purpose),
    CHECK ((audience = 'owner') = (id = ''))
);

-- What one reader's calendar shows of one visit. person is in lower case where
-- it is a mail address. A row ends when over lies some time back.
CREATE TABLE published (
    firm   TEXT   NOT NULL,
    job    TEXT   NOT NULL,
    n      BIGINT NOT NULL CHECK (n >= 1),
    reader TEXT   NOT NULL CHECK (reader IN ('customer', 'owner') OR reader LIKE 'crew/_%'),
    person TEXT   NOT NULL,
    digest TEXT   NOT NULL CHECK (digest <> ''),
    over   TEXT   NOT NULL CHECK (over <> ''),
    body   TEXT   NOT NULL,
    PRIMARY KEY (firm, job, n, reader),
    FOREIGN KEY (firm, job) REFERENCES jobs (firm, id)
);
CREATE INDEX published_reader ON published (firm, reader, person);
CREATE INDEX published_over ON published (firm, over);
