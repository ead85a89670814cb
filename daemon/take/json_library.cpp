// The one place where the JSON library is compiled.
#include <boost/json/src.hpp>
