//! How students come in: the address on this network, the code, and both as a QR code.

use std::net::{IpAddr, Ipv4Addr, SocketAddr, UdpSocket};

use fast_qr::{ECL, QRBuilder};
use maud::{Markup, html};

use crate::chance::random;
use crate::failure::Failure;
use crate::web::words::classroom as words;

/// Letters and digits that are not easily taken for one another.
const LETTERS: &[u8; 28] = b"ABCDEFGHJKMNPQRTUVWXYZ234679";
/// So many make a code: 481 million codes.
const LENGTH: usize = 6;

/// How students come in.
#[derive(Clone, Debug)]
pub(crate) struct Invitation {
    address: String,
    code: String,
}

impl Invitation {
    /// An invitation with a new code to the classroom on `port`.
    pub(crate) fn new(port: u16) -> Result<Self, Failure> {
        let address = format!("http://{}:{port}/", address());
        Ok(Self { address, code: code()? })
    }

    pub(crate) fn address(&self) -> &str {
        &self.address
    }

    pub(crate) fn code(&self) -> &str {
        &self.code
    }

    /// The address and the code as a QR code, in an SVG.
    pub(crate) fn qr(&self) -> Markup {
        let text = format!("{}?code={}", self.address, self.code);
        let Ok(qr) = QRBuilder::new(text).ecl(ECL::M).build() else { return html! {} };
        let size = qr.size;
        let mut path = String::new();
        for row in 0..size {
            for column in 0..size {
                if qr[row][column].value() {
                    path += &format!("M{} {}h1v1h-1z", column + 4, row + 4);
                }
            }
        }
        let view = format!("0 0 {0} {0}", size + 8);
        html! {
            svg.qr viewBox=(view) role="img" aria-label=(words::QR) {
                rect.qrground width="100%" height="100%" {}
                path.qrink d=(path) {}
            }
        }
    }
}

/// A code that nobody can foresee.
fn code() -> Result<String, Failure> {
    // A byte that would favour some letters over others is drawn anew.
    let fair = 256 - 256 % LETTERS.len();
    let mut code = String::new();
    while code.len() < LENGTH {
        let [byte] = random()?;
        if usize::from(byte) < fair {
            code.push(char::from(LETTERS[usize::from(byte) % LETTERS.len()]));
        }
    }
    Ok(code)
}

/// This computer's address on its network, as its routes say; nothing is sent.
fn address() -> IpAddr {
    let local = || -> std::io::Result<IpAddr> {
        let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0))?;
        // An address that is kept for documentation (RFC 5737).
        socket.connect((Ipv4Addr::new(192, 0, 2, 1), 9))?;
        Ok(socket.local_addr()?.ip())
    };
    local().unwrap_or(IpAddr::V4(Ipv4Addr::LOCALHOST))
}

/// Whether `host` is this computer: the very address at which the request arrived, or its name on
/// the network.
pub(crate) fn names_this_computer(host: &str, own: SocketAddr) -> bool {
    let ip = own.ip().to_canonical();
    let plain = host.trim_start_matches('[').trim_end_matches(']');
    if let Ok(named) = plain.parse::<IpAddr>() {
        return named.to_canonical() == ip && !ip.is_unspecified();
    }
    if host == "localhost" {
        return ip.is_loopback();
    }
    let Some(name) = own_name() else { return false };
    let host = host.to_ascii_lowercase();
    host == name || host.strip_suffix(".local") == Some(name.as_str())
}

/// What this computer is called on its network.
fn own_name() -> Option<String> {
    let told = ["HOSTNAME", "COMPUTERNAME"].into_iter().find_map(|name| std::env::var(name).ok());
    let name = told.or_else(|| std::fs::read_to_string("/etc/hostname").ok())?;
    let name = name.trim().to_ascii_lowercase();
    // A bare number or an empty name would be no name.
    name.contains(|c: char| c.is_ascii_alphabetic()).then_some(name)
}
