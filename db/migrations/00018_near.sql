-- +goose Up

-- Where the work of a task lies (scheduler.Near), as it was when it last ran: of tasks
-- that could be taken equally long, those of places near one another come after each
-- other, so that a daemon works out a place's weather once and not for each firm.
ALTER TABLE tasks ADD COLUMN near BIGINT NOT NULL DEFAULT 0;
DROP INDEX tasks_turn;
CREATE INDEX tasks_turn ON tasks (lane, (CASE WHEN lease_until > due THEN lease_until ELSE due END), rank, near, firm);
