-- +goose Up

-- The order in which a daemon of many firms takes work: lane 0 must be in time,
-- 1 is weather, 2 may wait (task.Lane); within a lane what has been takeable
-- longest comes first. A task whose lease ran out counts from that moment on, so
-- that one that fails again and again stands behind the others each time.
ALTER TABLE tasks ADD COLUMN lane BIGINT NOT NULL DEFAULT 0;
UPDATE tasks SET lane = CASE
    WHEN name IN ('fetch-forecast', 'fetch-ensemble') THEN 1
    WHEN name IN ('replan', 'record', 'learn', 'score', 'prune') THEN 2
    ELSE 0 END;
DROP INDEX tasks_due;
CREATE INDEX tasks_turn ON tasks (lane, (CASE WHEN lease_until > due THEN lease_until ELSE due END), rank, firm);

-- for the health of a host: calls for days from some day on, of any firm
CREATE INDEX calls_date ON calls (date, firm);
