//! Listening on the loopback address until told to stop.

use std::io;
use std::net::Ipv4Addr;

use tokio::net::TcpListener;
use tokio::runtime::Runtime;

use super::{app, browser};
use crate::args::Open;
use crate::failure::Failure;
use crate::files;

/// Served on if free, so that a bookmark keeps working from one day to the next.
const USUAL_PORT: u16 = 4179;

/// Serves the app, opens it in the browser, and returns when interrupted.
pub(crate) fn open(args: &Open) -> Result<(), Failure> {
    let runtime =
        Runtime::new().map_err(|error| Failure::Other(format!("cannot start: {error}")))?;
    runtime.block_on(serve(args))
}

async fn serve(args: &Open) -> Result<(), Failure> {
    let listener = listen(args.port).await?;
    let port = listener.local_addr().map_err(|error| cannot_listen(args.port, &error))?.port();
    let address = format!("http://127.0.0.1:{port}/");
    files::say(&format!("incisura is at {address} (Ctrl-C stops it)"))?;
    if !args.no_browser {
        browser::show(&address);
    }
    axum::serve(listener, app())
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
