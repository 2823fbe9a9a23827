-- +goose Up

-- Open messages in the order in which they may be taken: since when one could be, as
-- db.ready says, then by age. Without the moment in the index each look for work read
-- all that wait for a later hour or for their next try.
DROP INDEX messages_open;
DROP INDEX messages_open_firm;
CREATE INDEX messages_ready ON messages ((CASE
    WHEN state = 'begun' OR (lease_until >= next_try AND (not_before <= created OR lease_until >= not_before)) THEN lease_until
    WHEN not_before <= created OR next_try >= not_before THEN next_try ELSE not_before END), created, id)
    WHERE state IN ('pending', 'begun');
CREATE INDEX messages_ready_firm ON messages (firm, (CASE
    WHEN state = 'begun' OR (lease_until >= next_try AND (not_before <= created OR lease_until >= not_before)) THEN lease_until
    WHEN not_before <= created OR next_try >= not_before THEN next_try ELSE not_before END), created, id)
    WHERE state IN ('pending', 'begun');

-- What is leased, asked at each wake: few of all.
CREATE INDEX messages_leased ON messages (lease_until) WHERE lease <> '';
CREATE INDEX tasks_leased ON tasks (lease_until) WHERE lease <> '';
