//! Listening on the loopback address until told to stop.

use std::io;
use std::net::Ipv4Addr;
use std::path::PathBuf;

use tokio::net::TcpListener;
use tokio::runtime::Runtime;

use super::classroom;
use super::desk::Desk;
use super::folder::Folder;
use super::{app, browser};
use crate::args::Open;
use crate::failure::Failure;
use crate::{demo_command, files};

/// Served on if free, so that a bookmark keeps working from one day to the next.
const USUAL_PORT: u16 = 4179;

/// The name of the work that fills the invented course.
pub(crate) const DEMO: &str = "demo";
/// Its folder among the courses.
const DEMO_FOLDER: &str = "invented course";

/// Serves the app, opens it in the browser, and returns when interrupted.
pub(crate) fn open(args: &Open) -> Result<(), Failure> {
    let desk = desk(args)?;
    let runtime =
        Runtime::new().map_err(|error| Failure::Other(format!("cannot start: {error}")))?;
    runtime.block_on(serve(args, desk))
}

/// The course that is asked for, or the invented one, which is made in the background where it is
/// not there yet.
fn desk(args: &Open) -> Result<Desk, Failure> {
    let library = library()?;
    if let Some(course) = &args.course {
        return Ok(Desk::new(Folder::new(course)?, library));
    }
    let folder = Folder::new(&library.join(DEMO_FOLDER))?;
    let root = folder.root().to_owned();
    let desk = Desk::new(folder, library);
    if !demo_command::is_whole(&root) {
        demo_command::write_texts(&root)?;
        let work = move |_: &_| demo_command::write_rest(&root).map(|_| String::new());
        desk.jobs().begin(DEMO, work).map_err(|refusal| Failure::Other(refusal.message))?;
    }
    Ok(desk)
}

/// Where courses lie that were made in the app: `incisura` in the person's own folder, or what
/// `INCISURA_COURSES` names.
fn library() -> Result<PathBuf, Failure> {
    if let Some(named) = std::env::var_os("INCISURA_COURSES") {
        return Ok(PathBuf::from(named));
    }
    let home = std::env::home_dir().filter(|home| !home.as_os_str().is_empty());
    let home = home.ok_or_else(|| {
        Failure::Other(
            "your own folder is not known; name a course's folder: incisura open FOLDER".to_owned(),
        )
    })?;
    Ok(home.join("incisura"))
}

async fn serve(args: &Open, desk: Desk) -> Result<(), Failure> {
    let listener = listen(args.port).await?;
    let port = listener.local_addr().map_err(|error| cannot_listen(args.port, &error))?.port();
    let address = format!("http://127.0.0.1:{port}/");
    files::say(&format!("incisura is at {address} (Ctrl-C stops it)"))?;
    if args.classroom {
        files::say(&classroom::begin(&desk, args.classroom_port).await?)?;
    }
    if !args.no_browser {
        browser::show(&address);
    }
    axum::serve(listener, app(desk))
        .with_graceful_shutdown(interrupted())
        .await
        .map_err(|error| Failure::Other(format!("the app stopped: {error}")))
}

async fn listen(port: Option<u16>) -> Result<TcpListener, Failure> {
    let on = |port| TcpListener::bind((Ipv4Addr::LOCALHOST, port));
    let bound = match (port, on(port.unwrap_or(USUAL_PORT)).await) {
        (None, Err(_)) => on(0).await,
        (_, bound) => bound,
    };
    bound.map_err(|error| cannot_listen(port, &error))
}

fn cannot_listen(port: Option<u16>, error: &io::Error) -> Failure {
    let port = port.unwrap_or(USUAL_PORT);
    let why = if error.kind() == io::ErrorKind::AddrInUse {
        "another program uses it; choose another with --port, or leave --port out".to_owned()
    } else {
        format!("{error}; choose another with --port")
    };
    Failure::Other(format!("cannot serve on port {port}: {why}"))
}

async fn interrupted() {
    // Where no signal can be heard, the program runs until it is ended from outside.
    if tokio::signal::ctrl_c().await.is_err() {
        std::future::pending::<()>().await;
    }
}
