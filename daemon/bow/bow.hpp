// The room of the bow: notes with meaning in, strokes out.
//   plan.hpp         speed, force and contact point for a loudness
//   choice.hpp       down or up, and from where
//   fingerboard.hpp  the string
//   attack.hpp       how a stroke starts; clean_start.hpp has the condition
//   off_string.hpp   bouncing strokes and what they give way to; bounce.hpp has the model
//   place.hpp        where on the hair
//   touch.hpp        what a technique changes in the steady motion; zones of the contact point
//   right_hand.hpp   what hands need time for
//   harmonics.hpp    which harmonics a string has
//   note_length.hpp  how long short notes sound
//   force_limits.hpp Schelleng's limits
//   Units in the types; hair positions 0 frog .. 1 tip.  thread: the player's.  Real-time safe: yes.
#pragma once

#include "bow/attack.hpp"
#include "bow/choice.hpp"
#include "bow/fingerboard.hpp"
#include "bow/force_limits.hpp"
#include "bow/harmonics.hpp"
#include "bow/instrument.hpp"
#include "bow/note_length.hpp"
#include "bow/off_string.hpp"
#include "bow/place.hpp"
#include "bow/plan.hpp"
#include "bow/right_hand.hpp"
#include "bow/touch.hpp"
