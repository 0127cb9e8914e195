-- Many homes in one database; every row says whose it is. Nobody who signs on may
-- write a table: all writing goes through the functions below, which run as
-- sayback_owner and look at who called them. Run as a whole, in one transaction, by
-- whoever installs; again to bring functions and rights up to date.

-- What each kind of member may do is granted to its group.
DO $$
DECLARE
    wanted text;
BEGIN
    FOREACH wanted IN ARRAY ARRAY['sayback_owner', 'sayback_recorder', 'sayback_station', 'sayback_keeper'] LOOP
        IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = wanted) THEN
            EXECUTE format('CREATE ROLE %I NOLOGIN', wanted);
        END IF;
        IF wanted <> 'sayback_owner' THEN
            EXECUTE format('GRANT %I TO sayback_owner WITH ADMIN OPTION', wanted);
        END IF;
    END LOOP;
    -- It makes and cuts off members.
    IF NOT (SELECT rolcreaterole FROM pg_roles WHERE rolname = 'sayback_owner') THEN
        ALTER ROLE sayback_owner CREATEROLE;
    END IF;
    GRANT pg_signal_backend TO sayback_owner;
    EXECUTE format('GRANT sayback_owner TO %I', current_user);
    EXECUTE format('REVOKE ALL ON DATABASE %I FROM PUBLIC', current_database());
    EXECUTE format('GRANT CONNECT ON DATABASE %I TO sayback_recorder, sayback_station, sayback_keeper', current_database());
END $$;

CREATE SCHEMA IF NOT EXISTS sayback AUTHORIZATION sayback_owner;
SET LOCAL ROLE sayback_owner;

-- The version of these tables.
CREATE TABLE IF NOT EXISTS sayback.form (
    one     integer PRIMARY KEY CHECK (one = 1),
    version integer NOT NULL
);
INSERT INTO sayback.form VALUES (1, 1) ON CONFLICT DO NOTHING;

-- A home, and the head of its chain. Whoever appends holds this row until the
-- commit, so places are given in the order of commits: who has read up to a place
-- has missed nothing before it.
CREATE TABLE IF NOT EXISTS sayback.home (
    id           text PRIMARY KEY CHECK (id ~ '^[a-z0-9][a-z0-9-]{0,39}$'),
    name         text NOT NULL,
    seq          bigint NOT NULL DEFAULT 0,
    hash         bytea NOT NULL,
    chained_from bigint NOT NULL DEFAULT 1
);

-- Recorders, stations and keepers: each is a login of its own.
CREATE TABLE IF NOT EXISTS sayback.member (
    role        name PRIMARY KEY,
    home        text NOT NULL REFERENCES sayback.home,
    kind        text NOT NULL CHECK (kind IN ('recorder', 'station', 'keeper')),
    label       text NOT NULL CHECK (label <> '' AND length(label) <= 60),
    enrolled_at timestamptz NOT NULL DEFAULT now(),
    revoked_at  timestamptz
);
CREATE UNIQUE INDEX IF NOT EXISTS member_label ON sayback.member (home, label) WHERE revoked_at IS NULL;

-- The facts, as texts that are never changed. `sender_seq` and `sender_hash` are
-- their place and link in the record they came from.
CREATE TABLE IF NOT EXISTS sayback.fact (
    home        text NOT NULL REFERENCES sayback.home,
    seq         bigint NOT NULL,
    id          uuid NOT NULL,
    round       uuid NOT NULL,
    resident    text,
    at          text NOT NULL,
    kind        text NOT NULL,
    fact        text NOT NULL,
    hash        bytea NOT NULL,
    sender      name NOT NULL,
    sender_seq  bigint,
    sender_hash bytea,
    received_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (home, seq)
);
CREATE INDEX IF NOT EXISTS fact_resident ON sayback.fact (home, resident, seq);
CREATE INDEX IF NOT EXISTS fact_round ON sayback.fact (home, round, seq);
CREATE INDEX IF NOT EXISTS fact_sender ON sayback.fact (home, sender, seq);
-- The last of them: while nothing is known of the table, all indexes of a home look
-- the same, and the newest is taken. By another one each append would read the whole
-- home.
CREATE UNIQUE INDEX IF NOT EXISTS fact_id ON sayback.fact (home, id);

-- The home's file and its limits. The newest version is in force; all stay.
-- `based_on` is the version that whoever made this one had before them.
CREATE TABLE IF NOT EXISTS sayback.setting (
    home     text NOT NULL REFERENCES sayback.home,
    name     text NOT NULL CHECK (name IN ('roster', 'limits')),
    version  integer NOT NULL,
    text     text NOT NULL,
    by       text NOT NULL,
    sender   name NOT NULL,
    based_on integer,
    at       timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (home, name, version)
);

CREATE OR REPLACE FUNCTION sayback.never_changed() RETURNS trigger
    LANGUAGE plpgsql SET search_path = pg_catalog, pg_temp AS $$
BEGIN
    RAISE EXCEPTION 'facts and settings are never changed or deleted; append' USING ERRCODE = 'SB006';
END $$;
CREATE OR REPLACE TRIGGER fact_never_changes BEFORE UPDATE OR DELETE OR TRUNCATE ON sayback.fact
    FOR EACH STATEMENT EXECUTE FUNCTION sayback.never_changed();
CREATE OR REPLACE TRIGGER setting_never_changes BEFORE UPDATE OR DELETE OR TRUNCATE ON sayback.setting
    FOR EACH STATEMENT EXECUTE FUNCTION sayback.never_changed();

-- Who called: by the login, which inside these functions is not the current user.
CREATE OR REPLACE FUNCTION sayback.my_home() RETURNS text
    LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, pg_temp AS $$
    SELECT home FROM sayback.member WHERE role = session_user AND revoked_at IS NULL
$$;

-- The same, or an error.
CREATE OR REPLACE FUNCTION sayback.caller(VARIADIC kinds text[]) RETURNS sayback.member
    LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = pg_catalog, pg_temp AS $$
DECLARE
    me sayback.member;
BEGIN
    SELECT * INTO me FROM sayback.member WHERE role = session_user;
    IF me.role IS NULL OR me.revoked_at IS NOT NULL THEN
        RAISE EXCEPTION 'this link was cut off, or never enrolled; enrol it anew' USING ERRCODE = 'SB001';
    END IF;
    IF me.kind <> ALL (kinds) THEN
        RAISE EXCEPTION 'a % may not do that', me.kind USING ERRCODE = 'SB002';
    END IF;
    RETURN me;
END $$;

ALTER TABLE sayback.home ENABLE ROW LEVEL SECURITY;
ALTER TABLE sayback.home FORCE ROW LEVEL SECURITY;
ALTER TABLE sayback.member ENABLE ROW LEVEL SECURITY;
ALTER TABLE sayback.member FORCE ROW LEVEL SECURITY;
ALTER TABLE sayback.fact ENABLE ROW LEVEL SECURITY;
ALTER TABLE sayback.fact FORCE ROW LEVEL SECURITY;
ALTER TABLE sayback.setting ENABLE ROW LEVEL SECURITY;
ALTER TABLE sayback.setting FORCE ROW LEVEL SECURITY;

-- The functions themselves see and write the facts of the caller's home only.
DROP POLICY IF EXISTS owner ON sayback.home;
DROP POLICY IF EXISTS own ON sayback.home;
DROP POLICY IF EXISTS owner ON sayback.member;
DROP POLICY IF EXISTS own ON sayback.member;
DROP POLICY IF EXISTS own ON sayback.fact;
DROP POLICY IF EXISTS own ON sayback.setting;
CREATE POLICY owner ON sayback.home TO sayback_owner USING (true) WITH CHECK (true);
CREATE POLICY owner ON sayback.member TO sayback_owner USING (true) WITH CHECK (true);
CREATE POLICY own ON sayback.home FOR SELECT USING (id = (SELECT sayback.my_home()));
CREATE POLICY own ON sayback.member FOR SELECT USING (home = (SELECT sayback.my_home()));
CREATE POLICY own ON sayback.fact USING (home = (SELECT sayback.my_home())) WITH CHECK (home = (SELECT sayback.my_home()));
CREATE POLICY own ON sayback.setting USING (home = (SELECT sayback.my_home())) WITH CHECK (home = (SELECT sayback.my_home()));

-- What an aide's recorder can make. A station makes all of them and the others.
CREATE OR REPLACE FUNCTION sayback.kinds_of(member text) RETURNS text[]
    LANGUAGE sql IMMUTABLE SET search_path = pg_catalog, pg_temp AS $$
    SELECT ARRAY['round_opened', 'identified', 'offered', 'dropped', 'read', 'unconfirmed', 'not_taken',
                 'retaken', 'flagged', 'rule_met', 'reported_to_nurse', 'corrected', 'retracted',
                 'withdrawn', 'noted', 'recorder', 'round_closed']
        || CASE member WHEN 'station' THEN ARRAY['acknowledged', 'range_set', 'recheck_asked', 'signed']
                       ELSE ARRAY[]::text[] END
$$;

-- A column as the chain takes it: its length, then its bytes.
CREATE OR REPLACE FUNCTION sayback.linked(it text) RETURNS bytea
    LANGUAGE sql IMMUTABLE SET search_path = pg_catalog, pg_temp AS $$
    SELECT int8send(octet_length(it)::bigint) || convert_to(it, 'UTF8')
$$;

-- The head of the caller's home, held until the commit: for a signature, which
-- holds it and must come right after it.
CREATE OR REPLACE FUNCTION sayback.head_for_append(OUT seq bigint, OUT hash bytea)
    LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, pg_temp AS $$
DECLARE
    me sayback.member := sayback.caller('station');
BEGIN
    SELECT h.seq, h.hash INTO seq, hash FROM sayback.home h WHERE h.id = me.home FOR UPDATE;
END $$;

-- Appends facts for the caller's home: all of them or none. One that is there with
-- the same text is passed over. Returns how many were new.
CREATE OR REPLACE FUNCTION sayback.put(ids uuid[], facts text[], sender_seqs bigint[], sender_hashes bytea[])
    RETURNS bigint
    LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, pg_temp AS $$
DECLARE
    me      sayback.member;
    head    sayback.home;
    allowed text[];
    there   text;
    one     text;
    j       jsonb;
    id_     text;
    kind_   text;
    round_  text;
    at_     text;
    added   bigint := 0;
BEGIN
    me := sayback.caller('recorder', 'station');
    allowed := sayback.kinds_of(me.kind);
    IF cardinality(ids) > 2000 OR cardinality(facts) <> cardinality(ids)
       OR cardinality(sender_seqs) <> cardinality(ids) OR cardinality(sender_hashes) <> cardinality(ids) THEN
        RAISE EXCEPTION 'a batch has up to 2000 facts, each with its place and link' USING ERRCODE = 'SB004';
    END IF;
    SELECT h.* INTO head FROM sayback.home h WHERE h.id = me.home FOR UPDATE;
    -- It may have been cut off while this waited.
    me := sayback.caller('recorder', 'station');
    FOR n IN 1 .. cardinality(ids) LOOP
        id_ := ids[n]::text;
        one := facts[n];
        SELECT f.fact INTO there FROM sayback.fact f WHERE f.home = me.home AND f.id = ids[n];
        IF FOUND THEN
            IF there IS DISTINCT FROM one THEN
                RAISE EXCEPTION 'fact % is there with another text', id_ USING ERRCODE = 'SB003', DETAIL = id_;
            END IF;
            CONTINUE;
        END IF;
        -- What the database would say of a text that is no JSON tells the text.
        BEGIN
            j := one::jsonb;
            kind_ := j ->> 'kind';
            -- As a record writes it.
            at_ := regexp_replace(j ->> 'at', 'Z$', '+00:00');
            round_ := (j ->> 'round')::uuid::text;
            PERFORM at_::timestamptz;
        EXCEPTION WHEN data_exception THEN
            RAISE EXCEPTION 'fact % can''t be read', id_ USING ERRCODE = 'SB004', DETAIL = id_;
        END;
        IF kind_ IS NULL OR at_ IS NULL OR round_ IS NULL OR length(one) > 100000
           OR j ->> 'id' IS DISTINCT FROM id_ OR j ->> 'round' <> round_
           -- The database takes more for a time, "infinity" among it, than a recorder reads.
           OR at_ !~ '^\d{4}-\d\d-\d\dT([01]\d|2[0-3]):\d\d:\d\d(\.\d+)?[+-]\d\d:\d\d$' THEN
            RAISE EXCEPTION 'fact % is of no known form', id_ USING ERRCODE = 'SB004', DETAIL = id_;
        END IF;
        IF kind_ <> ALL (allowed) THEN
            RAISE EXCEPTION 'fact % is of a kind that a % may not send', id_, me.kind
                USING ERRCODE = 'SB002', DETAIL = id_;
        END IF;
        -- It would go before what an aide corrected.
        IF kind_ = 'corrected' AND (j ? 'by_nurse' OR j ? 'time') AND me.kind <> 'station' THEN
            RAISE EXCEPTION 'fact % is a nurse''s correction, which a % may not send', id_, me.kind
                USING ERRCODE = 'SB002', DETAIL = id_;
        END IF;
        -- Entered by hand at a station, or moved there: a recorder hears what it stores.
        IF kind_ = 'read' AND (j ? 'by_nurse' OR j ? 'by_hand') AND me.kind <> 'station' THEN
            RAISE EXCEPTION 'fact % is a reading that a nurse stored, which a % may not send', id_, me.kind
                USING ERRCODE = 'SB002', DETAIL = id_;
        END IF;
        IF kind_ = 'signed' AND ((j #>> '{head,seq}') IS DISTINCT FROM head.seq::text
           OR (j #>> '{head,hash}') IS DISTINCT FROM encode(head.hash, 'hex')) THEN
            RAISE EXCEPTION 'signature % does not hold the head it follows', id_
                USING ERRCODE = 'SB005', DETAIL = id_;
        END IF;
        head.seq := head.seq + 1;
        head.hash := sha256(head.hash || int8send(head.seq) || sayback.linked(id_) || sayback.linked(round_)
            || sayback.linked(at_) || sayback.linked(kind_) || sayback.linked(one));
        INSERT INTO sayback.fact (home, seq, id, round, resident, at, kind, fact, hash, sender, sender_seq, sender_hash)
            VALUES (me.home, head.seq, ids[n], round_::uuid, j ->> 'resident', at_, kind_, one, head.hash,
                    me.role, sender_seqs[n], sender_hashes[n]);
        added := added + 1;
    END LOOP;
    UPDATE sayback.home SET seq = head.seq, hash = head.hash WHERE id = me.home;
    RETURN added;
END $$;

-- Which of these the home does not have.
CREATE OR REPLACE FUNCTION sayback.lacking(ids uuid[]) RETURNS SETOF uuid
    LANGUAGE sql STABLE SET search_path = pg_catalog, pg_temp AS $$
    SELECT it FROM unnest(ids) it
    WHERE NOT EXISTS (SELECT FROM sayback.fact f WHERE f.home = (SELECT sayback.my_home()) AND f.id = it)
$$;

-- Puts a setting in force, and tells which version it replaces, whose that was, and
-- whether it was one that this change had not seen.
CREATE OR REPLACE FUNCTION sayback.set_setting(what text, content text, who text, based integer,
    OUT version integer, OUT replaced integer, OUT replaced_by text, OUT replaced_at timestamptz, OUT unseen boolean)
    LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, pg_temp AS $$
DECLARE
    me sayback.member := sayback.caller('keeper', 'station');
BEGIN
    IF length(who) > 200 OR length(content) > 2000000 THEN
        RAISE EXCEPTION 'a roster or limits have up to 2000000 characters, and whose they are up to 200'
            USING ERRCODE = 'SB004';
    END IF;
    PERFORM FROM sayback.home h WHERE h.id = me.home FOR UPDATE;
    SELECT s.version, s.by, s.at INTO replaced, replaced_by, replaced_at FROM sayback.setting s
        WHERE s.home = me.home AND s.name = what ORDER BY s.version DESC LIMIT 1;
    version := coalesce(replaced, 0) + 1;
    unseen := replaced IS DISTINCT FROM based;
    INSERT INTO sayback.setting (home, name, version, text, by, sender, based_on)
        VALUES (me.home, what, version, content, who, me.role, based);
END $$;

-- Not for members: makes a login that is one of a home. `verifier` is the SCRAM
-- verifier of its password, which is never here.
CREATE OR REPLACE FUNCTION sayback.new_member(of_home text, of_kind text, with_label text, verifier text)
    RETURNS name
    LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, pg_temp AS $$
DECLARE
    made name := 'sayback_' || of_kind || '_' || left(replace(gen_random_uuid()::text, '-', ''), 16);
BEGIN
    IF verifier NOT LIKE 'SCRAM-SHA-256$%' THEN
        RAISE EXCEPTION 'the password must come as a SCRAM verifier' USING ERRCODE = 'SB004';
    END IF;
    INSERT INTO sayback.member (role, home, kind, label) VALUES (made, of_home, of_kind, with_label);
    EXECUTE format('CREATE ROLE %I LOGIN NOCREATEDB NOCREATEROLE CONNECTION LIMIT 20 PASSWORD %L IN ROLE %I',
        made, verifier, 'sayback_' || of_kind);
    -- A link that is lost in the middle must not hold up the others for long.
    EXECUTE format('ALTER ROLE %I SET idle_in_transaction_session_timeout = ''30s''', made);
    RETURN made;
END $$;

-- Not for members: begins a home.
CREATE OR REPLACE FUNCTION sayback.new_home(new_id text, new_name text) RETURNS boolean
    LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, pg_temp AS $$
BEGIN
    INSERT INTO sayback.home (id, name, hash)
        VALUES (new_id, new_name, sha256(convert_to('sayback record, chain 1', 'UTF8') || int8send(1)))
        ON CONFLICT DO NOTHING;
    RETURN FOUND;
END $$;

CREATE OR REPLACE FUNCTION sayback.enrol(of_kind text, with_label text, verifier text) RETURNS name
    LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, pg_temp AS $$
DECLARE
    me sayback.member := sayback.caller('keeper');
BEGIN
    RETURN sayback.new_member(me.home, of_kind, with_label, verifier);
END $$;

-- Cuts off a member of the caller's home. What it sent stays.
CREATE OR REPLACE FUNCTION sayback.revoke(with_label text) RETURNS name
    LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, pg_temp AS $$
DECLARE
    me   sayback.member := sayback.caller('keeper');
    gone name;
BEGIN
    UPDATE sayback.member SET revoked_at = now()
        WHERE home = me.home AND label = with_label AND revoked_at IS NULL RETURNING role INTO gone;
    IF gone IS NULL THEN
        RAISE EXCEPTION 'nobody called that is enrolled' USING ERRCODE = 'SB007';
    END IF;
    IF gone = me.role THEN
        RAISE EXCEPTION 'a keeper is cut off by another keeper; enrol one first' USING ERRCODE = 'SB007';
    END IF;
    EXECUTE format('ALTER ROLE %I NOLOGIN', gone);
    RETURN gone;
END $$;

-- Ends the open connections of whoever was cut off: after the commit of that.
CREATE OR REPLACE FUNCTION sayback.end_sessions_of_revoked() RETURNS bigint
    LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, pg_temp AS $$
DECLARE
    me    sayback.member := sayback.caller('keeper');
    open  integer[];
    ended bigint := 0;
    one   integer;
BEGIN
    SELECT array_agg(a.pid) INTO open FROM pg_stat_activity a JOIN sayback.member m ON m.role = a.usename
        WHERE m.home = me.home AND m.revoked_at IS NOT NULL;
    FOREACH one IN ARRAY coalesce(open, ARRAY[]::integer[]) LOOP
        ended := ended + pg_terminate_backend(one)::integer;
    END LOOP;
    RETURN ended;
END $$;

-- The members of the caller's home, and when each sent something last.
CREATE OR REPLACE FUNCTION sayback.members()
    RETURNS TABLE (label text, kind text, role name, enrolled_at timestamptz, revoked_at timestamptz, last_sent timestamptz)
    LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = pg_catalog, pg_temp AS $$
DECLARE
    me sayback.member := sayback.caller('keeper', 'station');
BEGIN
    RETURN QUERY SELECT m.label, m.kind, m.role, m.enrolled_at, m.revoked_at,
        (SELECT f.received_at FROM sayback.fact f WHERE f.home = m.home AND f.sender = m.role ORDER BY f.seq DESC LIMIT 1)
        FROM sayback.member m WHERE m.home = me.home ORDER BY m.revoked_at IS NOT NULL, m.kind, m.label;
END $$;

REVOKE ALL ON ALL FUNCTIONS IN SCHEMA sayback FROM PUBLIC;
REVOKE ALL ON ALL TABLES IN SCHEMA sayback FROM PUBLIC;
GRANT USAGE ON SCHEMA sayback TO sayback_recorder, sayback_station, sayback_keeper;
GRANT EXECUTE ON FUNCTION sayback.my_home() TO sayback_recorder, sayback_station, sayback_keeper;
GRANT SELECT ON sayback.form, sayback.home, sayback.setting TO sayback_recorder, sayback_station, sayback_keeper;
GRANT SELECT ON sayback.fact TO sayback_recorder, sayback_station;
GRANT SELECT ON sayback.member TO sayback_station, sayback_keeper;
GRANT EXECUTE ON FUNCTION sayback.put(uuid[], text[], bigint[], bytea[]) TO sayback_recorder, sayback_station;
GRANT EXECUTE ON FUNCTION sayback.lacking(uuid[]) TO sayback_recorder, sayback_station;
GRANT EXECUTE ON FUNCTION sayback.head_for_append() TO sayback_station;
GRANT EXECUTE ON FUNCTION sayback.set_setting(text, text, text, integer) TO sayback_station, sayback_keeper;
GRANT EXECUTE ON FUNCTION sayback.members() TO sayback_station, sayback_keeper;
GRANT EXECUTE ON FUNCTION sayback.enrol(text, text, text) TO sayback_keeper;
GRANT EXECUTE ON FUNCTION sayback.revoke(text) TO sayback_keeper;
GRANT EXECUTE ON FUNCTION sayback.end_sessions_of_revoked() TO sayback_keeper;

RESET ROLE;
