//! Opening, and what holds for every reading and writing.

use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::config::DbConfig;
use rusqlite::{Connection, OpenFlags, Transaction, TransactionBehavior};

use crate::{CourseError, CourseFault};

/// The database's file in the course folder.
pub const FILE: &str = "marks.sqlite";

/// The format that is written. In format 1 no page could be set aside.
const VERSION: i64 = 2;

/// Marks the file as a course's: “inci” in ASCII.
const APPLICATION: i64 = 0x696E_6369;

/// How long another program's writing is waited for.
const PATIENCE: Duration = Duration::from_secs(5);

const SCHEMA: &str = include_str!("schema.sql");
const DECISIONS: &str = include_str!("decisions.sql");

/// The tables whose rows stay as they were added.
const KEPT: [&str; 10] = [
    "tests",
    "test_texts",
    "students",
    "student_names",
    "sheets",
    "pages",
    "markings",
    "verdicts",
    "acceptances",
    "decisions",
];

/// A course's database, open.
///
/// Every call that adds something is one transaction: when it has returned, what it added stays,
/// even if the program is killed or the power fails in the next instant; when it fails, nothing
/// of it is stored.
#[derive(Debug)]
pub struct Course {
    connection: Connection,
    file: PathBuf,
}

impl Course {
    /// Opens [`FILE`] in `folder`, or makes it where there is none.
    ///
    /// While another program writes, it is waited for up to 5 seconds, here and in every later
    /// call. A file that cannot be used is left as it is.
    pub fn open(folder: &Path) -> Result<Self, CourseError> {
        Self::open_within(folder, PATIENCE)
    }

    /// [`Course::open`] with another patience.
    pub fn open_within(folder: &Path, patience: Duration) -> Result<Self, CourseError> {
        let file = folder.join(FILE);
        if !folder.is_dir() {
            let file = folder.to_owned();
            return Err(CourseError { file, fault: CourseFault::NoFolder });
        }
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE
            | OpenFlags::SQLITE_OPEN_CREATE
            | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        Self::with(Connection::open_with_flags(&file, flags), file, patience)
    }

    /// A course that is gone with the program, for tests.
    pub fn in_memory() -> Result<Self, CourseError> {
        Self::with(Connection::open_in_memory(), PathBuf::from(":memory:"), PATIENCE)
    }

    /// Reads through the whole file; the error says what is damaged.
    ///
    /// Opening looks only at the file's beginning and length, as this takes time with the
    /// length of the file.
    pub fn check(&self) -> Result<(), CourseError> {
        self.read(|connection| {
            let mut found: Vec<String> =
                rows(connection, "PRAGMA integrity_check", (), |row| row.get(0))?;
            found.retain(|line| line != "ok");
            found.extend(rows(connection, "PRAGMA foreign_key_check", (), |row| {
                let (from, to): (String, String) = (row.get(0)?, row.get(2)?);
                Ok(format!("a row of {from} has lost its {to}"))
            })?);
            match found.first() {
                None => Ok(()),
                Some(first) => Err(CourseFault::Damaged(first.clone())),
            }
        })
    }

    fn with(
        connection: rusqlite::Result<Connection>,
        file: PathBuf,
        patience: Duration,
    ) -> Result<Self, CourseError> {
        let prepared = connection.map_err(CourseFault::from).and_then(|connection| {
            prepare(&connection, patience)?;
            Ok(connection)
        });
        match prepared {
            Ok(connection) => Ok(Self { connection, file }),
            Err(fault) => Err(CourseError { file, fault }),
        }
    }

    /// All that `work` reads is of one instant.
    pub(crate) fn read<T>(
        &self,
        work: impl FnOnce(&Connection) -> Result<T, CourseFault>,
    ) -> Result<T, CourseError> {
        self.during(TransactionBehavior::Deferred, work)
    }

    /// All that `work` adds is there when this has returned, or nothing of it.
    pub(crate) fn write<T>(
        &self,
        work: impl FnOnce(&Connection) -> Result<T, CourseFault>,
    ) -> Result<T, CourseError> {
        self.during(TransactionBehavior::Immediate, work)
    }

    fn during<T>(
        &self,
        behavior: TransactionBehavior,
        work: impl FnOnce(&Connection) -> Result<T, CourseFault>,
    ) -> Result<T, CourseError> {
        let run = || {
            let transaction = Transaction::new_unchecked(&self.connection, behavior)?;
            let done = work(&transaction)?;
            transaction.commit()?;
            Ok(done)
        };
        run().map_err(|fault| CourseError { file: self.file.clone(), fault })
    }
}

/// All rows of a query.
pub(crate) fn rows<T>(
    connection: &Connection,
    sql: &str,
    parameters: impl rusqlite::Params,
    row: impl FnMut(&rusqlite::Row<'_>) -> rusqlite::Result<T>,
) -> Result<Vec<T>, CourseFault> {
    let mut statement = connection.prepare(sql)?;
    let found = statement.query_map(parameters, row)?.collect::<rusqlite::Result<_>>()?;
    Ok(found)
}

fn prepare(connection: &Connection, patience: Duration) -> Result<(), CourseFault> {
    connection.busy_timeout(patience)?;
    // A course may come from someone else: nothing in its schema is to run by itself.
    connection.set_db_config(DbConfig::SQLITE_DBCONFIG_DEFENSIVE, true)?;
    connection.set_db_config(DbConfig::SQLITE_DBCONFIG_TRUSTED_SCHEMA, false)?;
    let version = version(connection)?;
    // No file beside the database between writings, so that the folder can be copied; and
    // its directory is written through as well, so that power failing after a commit cannot
    // bring back the journal that undoes it.
    connection.execute_batch(
        "PRAGMA journal_mode = DELETE; PRAGMA synchronous = EXTRA; PRAGMA foreign_keys = ON; \
         PRAGMA cell_size_check = ON; PRAGMA recursive_triggers = ON;",
    )?;
    let mode: String = connection.query_row("PRAGMA journal_mode", (), |row| row.get(0))?;
    if mode == "wal" {
        return Err(CourseFault::Busy);
    }
    match version {
        0 => create(connection),
        1 => upgrade(connection),
        _ => Ok(()),
    }
}

/// The file's format; 0 where nothing is in it yet.
fn version(connection: &Connection) -> Result<i64, CourseFault> {
    let number = |sql: &str| connection.query_row(sql, (), |row| row.get::<_, i64>(0));
    let objects = number("SELECT count(*) FROM sqlite_schema")?;
    let application = number("PRAGMA application_id")?;
    let version = number("PRAGMA user_version")?;
    match (objects, application, version) {
        (0, 0, 0) => Ok(0),
        (_, APPLICATION, 1..=VERSION) => Ok(version),
        (_, APPLICATION, _) if version > VERSION => {
            Err(CourseFault::Newer { found: version, known: VERSION })
        }
        _ => Err(CourseFault::Foreign),
    }
}

fn create(connection: &Connection) -> Result<(), CourseFault> {
    let transaction = Transaction::new_unchecked(connection, TransactionBehavior::Immediate)?;
    // Another program may have made it in the meantime.
    if version(&transaction)? == 0 {
        transaction.execute_batch(SCHEMA)?;
        transaction.execute_batch(DECISIONS)?;
        for table in KEPT {
            hold(&transaction, table)?;
        }
        transaction.pragma_update(None, "application_id", APPLICATION)?;
        transaction.pragma_update(None, "user_version", VERSION)?;
    }
    Ok(transaction.commit()?)
}

/// Refuses whatever would change the rows of a table.
fn hold(connection: &Connection, table: &str) -> Result<(), CourseFault> {
    for change in ["UPDATE", "DELETE"] {
        connection.execute_batch(&format!(
            "CREATE TRIGGER {table}_no_{change} BEFORE {change} ON {table} \
             BEGIN SELECT RAISE(ABORT, 'rows of {table} are added and never changed'); END"
        ))?;
    }
    Ok(())
}

/// Makes of format 1 the one that is written: the same decisions in a table that takes one more
/// kind of them, which SQLite lets no table be given later.
fn upgrade(connection: &Connection) -> Result<(), CourseFault> {
    // Only outside of a transaction; while rows move, those that name others have nothing to name.
    connection.execute_batch("PRAGMA foreign_keys = OFF")?;
    let upgraded = upgrade_at_once(connection);
    connection.execute_batch("PRAGMA foreign_keys = ON")?;
    upgraded
}

fn upgrade_at_once(connection: &Connection) -> Result<(), CourseFault> {
    let transaction = Transaction::new_unchecked(connection, TransactionBehavior::Immediate)?;
    // Another program may have done it in the meantime.
    if version(&transaction)? == 1 {
        transaction.execute_batch(
            "DROP TRIGGER decisions_no_UPDATE; DROP TRIGGER decisions_no_DELETE; \
             DROP INDEX decisions_sheet; ALTER TABLE decisions RENAME TO earlier_decisions;",
        )?;
        transaction.execute_batch(DECISIONS)?;
        transaction.execute_batch(
            "INSERT INTO decisions SELECT * FROM earlier_decisions ORDER BY no; \
             DROP TABLE earlier_decisions;",
        )?;
        hold(&transaction, "decisions")?;
        transaction.pragma_update(None, "user_version", VERSION)?;
    }
    Ok(transaction.commit()?)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What a killed program does not show: that commits are written through to the disk.
    #[test]
    fn commits_are_written_through_and_references_are_held() {
        let folder = std::env::temp_dir().join(format!("course-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        // The second time it is there already.
        for _ in 0..2 {
            let course = Course::open(&folder).unwrap();
            let setting = |name: &str| {
                let sql = format!("SELECT CAST({name} AS TEXT) FROM pragma_{name}");
                course.connection.query_row(&sql, (), |row| row.get::<_, String>(0)).unwrap()
            };
            // In SQLite's manual, 3 is EXTRA.
            let wanted = [("journal_mode", "delete"), ("synchronous", "3"), ("foreign_keys", "1")];
            for (name, value) in wanted {
                assert_eq!(setting(name), value, "{name}");
            }
        }
        std::fs::remove_dir_all(&folder).unwrap();
    }
}
