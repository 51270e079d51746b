//! Who may come in: the code, those who have joined, and how often somebody may try.

use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use crate::chance::{hex, random};

/// Wrong codes from one address that cost no waiting.
const FREE: u32 = 3;
/// The longest wait.
const LONGEST_S: u64 = 300;
/// Wrong codes from all addresses in a minute, after which everybody waits.
const MOST_A_MINUTE: u32 = 60;
/// Most students at once.
const MOST_JOINED: usize = 500;
/// Most addresses that are remembered.
const MOST_TRIED: usize = 5000;
/// Requests that somebody who has joined may make at once, and how many a second after that.
const AT_ONCE: f64 = 60.0;
const A_SECOND: f64 = 10.0;

/// The entrance.
pub(super) struct Door {
    code: String,
    inside: Mutex<HashMap<String, Pace>>,
    tried: Mutex<Tried>,
}

/// How many requests somebody may still make.
struct Pace {
    left: f64,
    since: Instant,
}

struct Tried {
    by: HashMap<IpAddr, Tries>,
    minute: Instant,
    in_minute: u32,
}

struct Tries {
    wrong: u32,
    until: Instant,
}

/// Whether somebody may go on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Answer {
    Yes,
    Slowly,
    No,
}

/// Why somebody may not come in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Refused {
    Wrong,
    Slowly { wait_s: u64 },
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Door {
    pub(super) fn new(code: &str) -> Self {
        let tried = Tried { by: HashMap::new(), minute: Instant::now(), in_minute: 0 };
        Self { code: code.to_owned(), inside: Mutex::default(), tried: Mutex::new(tried) }
    }

    /// Tries `typed`; gives what proves from now on that somebody is in, or nothing where the
    /// class is full.
    pub(super) fn join(&self, peer: IpAddr, typed: &str) -> Result<Option<String>, Refused> {
        let now = Instant::now();
        let mut tried = locked(&self.tried);
        tried.wait(peer, now)?;
        let kept = |c: &char| c.is_ascii_alphanumeric();
        let typed: String =
            typed.chars().filter(kept).map(|c| c.to_ascii_uppercase()).take(40).collect();
        if typed != self.code {
            tried.wrong(peer, now);
            return Err(Refused::Wrong);
        }
        tried.by.remove(&peer);
        drop(tried);
        let Ok(bytes) = random::<16>() else { return Ok(None) };
        let token = hex(&bytes);
        let mut inside = locked(&self.inside);
        if inside.len() >= MOST_JOINED {
            return Ok(None);
        }
        inside.insert(token.clone(), Pace { left: AT_ONCE, since: now });
        Ok(Some(token))
    }

    pub(super) fn is_in(&self, token: &str) -> bool {
        locked(&self.inside).contains_key(token)
    }

    /// Whether somebody with `token` may make a request now.
    pub(super) fn pass(&self, token: &str) -> Answer {
        let mut inside = locked(&self.inside);
        let Some(pace) = inside.get_mut(token) else { return Answer::No };
        let now = Instant::now();
        let gained = now.duration_since(pace.since).as_secs_f64() * A_SECOND;
        pace.left = (pace.left + gained).min(AT_ONCE);
        pace.since = now;
        if pace.left < 1.0 {
            return Answer::Slowly;
        }
        pace.left -= 1.0;
        Answer::Yes
    }
}

impl Tried {
    /// Refuses who has to wait.
    fn wait(&mut self, peer: IpAddr, now: Instant) -> Result<(), Refused> {
        if now.duration_since(self.minute) >= Duration::from_secs(60) {
            (self.minute, self.in_minute) = (now, 0);
        }
        let slowly = |until: Instant| Refused::Slowly {
            wait_s: until.saturating_duration_since(now).as_secs() + 1,
        };
        if self.in_minute >= MOST_A_MINUTE {
            return Err(slowly(self.minute + Duration::from_secs(60)));
        }
        match self.by.get(&peer) {
            Some(tries) if tries.until > now => Err(slowly(tries.until)),
            _ => Ok(()),
        }
    }

    /// Each wrong code doubles the wait.
    fn wrong(&mut self, peer: IpAddr, now: Instant) {
        self.in_minute += 1;
        if self.by.len() >= MOST_TRIED {
            self.by.retain(|_, tries| tries.until > now);
        }
        let tries = self.by.entry(peer).or_insert(Tries { wrong: 0, until: now });
        tries.wrong += 1;
        let wait_s = match tries.wrong.checked_sub(FREE) {
            None | Some(0) => 0,
            Some(over) => (1 << over.min(9)).min(LONGEST_S),
        };
        tries.until = now + Duration::from_secs(wait_s);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PEER: IpAddr = IpAddr::V4(std::net::Ipv4Addr::new(10, 0, 0, 7));

    #[test]
    fn the_code_may_be_typed_in_any_way() {
        let door = Door::new("AB3DEF");
        let token = door.join(PEER, " ab3-def ").unwrap().unwrap();
        assert!(door.is_in(&token) && door.pass(&token) == Answer::Yes);
        assert!(!door.is_in("") && door.pass("0000") == Answer::No);
        assert_ne!(door.join(PEER, "AB3DEF").unwrap().unwrap(), token);
    }

    #[test]
    fn guessing_from_one_address_is_slowed_down_and_others_are_not() {
        let door = Door::new("AB3DEF");
        for _ in 0..=FREE {
            assert_eq!(door.join(PEER, "XXXXXX"), Err(Refused::Wrong));
        }
        // Even the right code has to wait now.
        assert!(matches!(door.join(PEER, "AB3DEF"), Err(Refused::Slowly { wait_s: 1.. })));
        let other = IpAddr::V4(std::net::Ipv4Addr::new(10, 0, 0, 8));
        assert!(door.join(other, "AB3DEF").unwrap().is_some());
    }

    #[test]
    fn guessing_from_many_addresses_is_limited_too() {
        let door = Door::new("AB3DEF");
        let peer = |n: u32| IpAddr::V4(std::net::Ipv4Addr::from(n));
        let inside = door.join(peer(9), "AB3DEF").unwrap().unwrap();
        for n in 0..MOST_A_MINUTE {
            assert_eq!(door.join(peer(100 + n), "XXXXXX"), Err(Refused::Wrong));
        }
        assert!(matches!(door.join(peer(9000), "XXXXXX"), Err(Refused::Slowly { .. })));
        // Who is in stays in.
        assert_eq!(door.pass(&inside), Answer::Yes);
    }

    #[test]
    fn who_asks_too_much_at_once_is_told_to_wait() {
        let door = Door::new("AB3DEF");
        let token = door.join(PEER, "AB3DEF").unwrap().unwrap();
        let answers: Vec<Answer> = (0..200).map(|_| door.pass(&token)).collect();
        assert!(answers.iter().take(50).all(|answer| *answer == Answer::Yes));
        assert!(answers.contains(&Answer::Slowly));
    }
}
